"""A run's loop as one function of plain arrays, for code that knows nothing of Python: its IR as Numba made it.

Every number of the loop and of the state that it begins with travels in one array, in the order of `leaves`.
"""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import carray, njit, types
from numpy.typing import NDArray

from experiments.simulation.coupled import Orders, run_ticks
from experiments.simulation.simulate import Ready
from plant.assembly import Inputs
from plant.numerics.layout import leaves

FLOATS, WHOLES = types.CPointer(types.float64), types.CPointer(types.int64)
ARRAYS = ("numbers", "arterial_mmHg", "tone", "ambient", "mode", "fill_mmHg", "set_point", "light_slope", "pending",
          "trace")  # pointers; `mode` to 64-bit whole numbers, the others to floats
COUNTS = ("ticks", "seed", "ring", "channels")  # 64-bit whole numbers
SOURCE = """
def entry({arguments}):
    n = carray(numbers, ({length},))
    inputs = Inputs(carray(arterial_mmHg, (ticks + 1,)), carray(tone, (ticks + 1,)), carray(ambient, (ticks + 1,)))
    orders = Orders(carray(mode, (ticks,)), carray(fill_mmHg, (ticks,)), carray(set_point, (ticks,)),
                    carray(light_slope, (ticks,)))
    found = run_ticks({system}, seed, inputs, orders, {start}, carray(pending, (ring,)),
                      carray(trace, (ticks, channels)))
    return found[2]
"""


class Entry(NamedTuple):
    """The compiled function: LLVM IR of all that it calls, and its name there.

    It takes a pointer to where the number of ticks done goes, one to where Numba puts what was raised, then ARRAYS and
    COUNTS; it returns 0.
    """

    text: str
    name: str


def numbers_of(ready: Ready) -> NDArray[np.float64]:
    """Every number of a run's loop and of its first state, in order, shape (n,)."""
    return np.array([float(value) for _, value in leaves((ready.loop, ready.start))])


def entry_of(ready: Ready) -> Entry:
    """The loop of a run, compiled for runs of its kind."""
    scope: dict[str, Any] = {"run_ticks": run_ticks, "carray": carray, "Inputs": Inputs, "Orders": Orders}
    places = iter(range(10**6))
    system = rebuilding(ready.loop, places, scope)
    source = SOURCE.format(arguments=", ".join(ARRAYS + COUNTS), system=system,
                           start=rebuilding(ready.start, places, scope), length=next(places))
    exec(source, scope)
    kinds = [WHOLES if name == "mode" else FLOATS for name in ARRAYS] + [types.int64] * len(COUNTS)
    made = njit(types.int64(*kinds), error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
    (compiled,) = made(scope["entry"]).overloads.values()
    return Entry(compiled.library.get_llvm_str(), compiled.fndesc.llvm_func_name)


def rebuilding(value: Any, places: Any, scope: dict[str, Any]) -> str:
    """Source that makes a nested tuple like `value` again from the array `n`; its classes go into `scope`."""
    if isinstance(value, tuple):
        inner = "".join(f"{rebuilding(part, places, scope)}, " for part in value)
        if not hasattr(value, "_fields"):
            return f"({inner})"
        label = f"class_{len(scope)}"
        scope[label] = type(value)
        return f"{label}({inner})"
    place = f"n[{next(places)}]"
    if isinstance(value, bool):
        return f"({place} > 0.5)"
    return f"int({place})" if isinstance(value, int) else place
