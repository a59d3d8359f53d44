"""Linear twins: small-signal state-space models of parts, with named signals, and how they are joined.

dx/dt = A x + B u,  y = C x + D u.  Signals are deviations from the operating point.
"""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]


class Linear(NamedTuple):
    """A continuous-time state-space model with named signals."""

    a: Matrix  # (states, states)
    b: Matrix  # (states, inputs)
    c: Matrix  # (outputs, states)
    d: Matrix  # (outputs, inputs)
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    states: tuple[str, ...]

    def response(self, output: str, input_: str, omega: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Complex gain from one input to one output at angular frequencies `omega` [rad/s], shape (n,)."""
        i, o = self.inputs.index(input_), self.outputs.index(output)
        identity = np.eye(len(self.a))
        pencil = 1j * np.asarray(omega)[:, None, None] * identity - self.a
        right = np.broadcast_to(self.b[:, i : i + 1].astype(complex), (len(omega), len(self.a), 1))
        states = np.linalg.solve(pencil, right)[:, :, 0]
        return np.asarray(states @ self.c[o] + self.d[o, i])

    def as_control(self) -> Any:
        """The same model as a python-control StateSpace (imported here: it takes a second to load)."""
        import control

        return control.ss(self.a, self.b, self.c, self.d, inputs=list(self.inputs), outputs=list(self.outputs),
                          states=list(self.states))


def linear(a: Any, b: Any, c: Any, d: Any, inputs: str, outputs: str, states: str) -> Linear:
    """A `Linear` from nested lists (or scalars) and space-separated signal names."""
    names = tuple(inputs.split()), tuple(outputs.split()), tuple(states.split())
    n, m, p = len(names[2]), len(names[0]), len(names[1])
    return Linear(
        np.asarray(a, float).reshape(n, n), np.asarray(b, float).reshape(n, m),
        np.asarray(c, float).reshape(p, n), np.asarray(d, float).reshape(p, m), *names,
    )


def static(d: Any, inputs: str, outputs: str) -> Linear:
    """A memoryless twin: y = D u."""
    return linear([], [], [], d, inputs, outputs, "")


def join(parts: list[Linear], inputs: tuple[str, ...], outputs: tuple[str, ...]) -> Linear:
    """Join parts by signal name: every part input takes the part output or external input of the same name.

    Raises ValueError when a part input has no source. Algebraic loops are solved when they are well posed.
    """
    a, b = _block_diagonal([p.a for p in parts]), _block_diagonal([p.b for p in parts])
    c, d = _block_diagonal([p.c for p in parts]), _block_diagonal([p.d for p in parts])
    ins = [name for p in parts for name in p.inputs]
    outs = [name for p in parts for name in p.outputs]
    states = tuple(name for p in parts for name in p.states)
    for name in ins:
        if name not in outs and name not in inputs:
            raise ValueError(f"no part or external input drives '{name}'")
    feedback = np.array([[float(i == o) for o in outs] for i in ins]).reshape(len(ins), len(outs))
    external = np.array([[float(i == e and i not in outs) for e in inputs] for i in ins]).reshape(len(ins), len(inputs))
    pick = np.array([[float(o == e) for o in outs] for e in outputs]).reshape(len(outputs), len(outs))
    solve = np.linalg.inv(np.eye(len(outs)) - d @ feedback)  # y = (I - D F)^-1 (C x + D E w)
    y_x, y_w = solve @ c, solve @ d @ external
    return Linear(a + b @ feedback @ y_x, b @ (external + feedback @ y_w), pick @ y_x, pick @ y_w,
                  tuple(inputs), tuple(outputs), states)


def _block_diagonal(blocks: list[Matrix]) -> Matrix:
    rows, columns = sum(m.shape[0] for m in blocks), sum(m.shape[1] for m in blocks)
    whole, i, j = np.zeros((rows, columns)), 0, 0
    for m in blocks:
        whole[i : i + m.shape[0], j : j + m.shape[1]] = m
        i, j = i + m.shape[0], j + m.shape[1]
    return whole
