"""A plan of experiments: which pieces, in which order, and what each tells of each number."""
from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.identify.excite.recipe import RESPONSE, Piece, best_order, pieces_for
from experiments.identify.fit.choose import ANCHOR, free_for
from experiments.identify.fit.problem import Problem, evaluate
from experiments.identify.light.bench import LAMP, RAMP, USUAL_LIGHT, LightBench, prepared
from experiments.identify.light.bench import TABLES as LIGHT_TABLES
from experiments.identify.light.play import TOP_mmHg, light_pieces, play_light
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.candidates import Free, bench_of, free_of, value_of
from experiments.identify.replay.virtual import play
from experiments.rigs.rig import Rig
from plant.errors import InputError
from plant.finger.light import sample_deviation

Samples = NDArray[np.float64]
LIGHT = "light"  # part of a plan of its own
IGNORANCE = 0.3  # standard uncertainty of a number, in the search's coordinates, before anything is recorded: invented


class Plan(NamedTuple):
    """What is to be played, in order."""

    rig: Rig
    parts: tuple[str, ...]
    ceiling_mmHg: float
    free: tuple[Free, ...]
    pieces: tuple[Piece, ...]
    gains: tuple[float, ...]  # nats, of each piece beyond those before it
    alone: Samples  # (pieces, numbers) standard uncertainty by one piece alone, in the search's coordinates
    together: Samples  # (numbers,)


def information_of(rig: Rig, free: Sequence[Free], piece: Piece) -> Samples:
    """Fisher information (numbers, numbers) of a piece about the numbers, at the rig as it is believed to be."""
    noise = max(rig.plant.transducer.noise_mmHg, 1e-3)
    recording = Recording(piece.played, piece.played, piece.period_s, piece.command,
                          {"reading_mmHg": np.zeros(len(piece.command))}, {"reading_mmHg": noise})
    volume = free_of(rig, ANCHOR)
    problem = Problem(bench_of(rig), tuple(free), ((volume, value_of(rig, ANCHOR)),), (recording,))
    _, jacobian = evaluate(problem, np.array([f.inside(value_of(rig, f.name)) for f in free]))
    return np.asarray(jacobian.T @ jacobian, float)


def plan_for(
    rig: Rig, parts: Sequence[str], ceiling_mmHg: float = 250.0, rate_Hz: float = 5000.0, most_s: float = 12.0,
    seed: int = 1,
) -> Plan:
    """The best pieces for some parts of a rig within a time [s] and below a pressure [mmHg]. Raises InputError."""
    pieces = pieces_for(rig, parts, ceiling_mmHg, rate_Hz, seed)
    free = free_for(rig, [part for part in parts if part != RESPONSE] or ["timing"])
    if not free or not pieces:
        raise InputError(f"--for {','.join(parts)}: nothing to tell of such a rig")
    told = [information_of(rig, free, piece) for piece in pieces]
    prior = np.eye(len(free)) / IGNORANCE**2
    order = best_order(told, [len(p.command) * p.period_s for p in pieces], most_s, prior)
    if not order:
        raise InputError(f"--seconds {most_s:g}: the shortest piece takes "
                         f"{min(len(p.command) * p.period_s for p in pieces):.3g} s")
    chosen = [i for i, _ in order]
    alone = np.array([np.sqrt(np.diag(np.linalg.inv(told[i] + prior))) for i in chosen])
    whole = np.sqrt(np.diag(np.linalg.inv(sum((told[i] for i in chosen), prior))))
    gains = tuple(gain for _, gain in order)
    return Plan(rig, tuple(parts), ceiling_mmHg, free, tuple(pieces[i] for i in chosen), gains, alone, whole)


def light_plan(rig: Rig, ceiling_mmHg: float = 250.0, seed: int = 1) -> Plan:
    """A lamp's steps and a ramp for the light path of a rig, and what each tells of each number."""
    bench = LightBench(rig)
    free = tuple(free_of(rig, name, LIGHT_TABLES) for name in USUAL_LIGHT)
    prior = np.eye(len(free)) / IGNORANCE**2
    x = np.array([f.inside(value_of(rig, f.name)) for f in free])
    pieces = light_pieces(min(TOP_mmHg, ceiling_mmHg))
    told = []
    for piece in pieces:
        channels = play_light(rig, piece, seed)
        noise = {"light": sample_deviation(rig.plant.light), "arterial_mmHg": rig.plant.transducer.noise_mmHg}
        made = prepared(bench, [Recording(piece.played, piece.played, piece.period_s, piece.command, channels, noise)])
        _, jacobian = evaluate(Problem(bench, free, (), tuple(made)), x)
        told.append(np.asarray(jacobian.T @ jacobian, float))
    alone = np.array([np.sqrt(np.diag(np.linalg.inv(one + prior))) for one in told])
    whole = np.sqrt(np.diag(np.linalg.inv(told[0] + told[1] + prior)))
    steps = [prior, prior + told[0], prior + told[0] + told[1]]
    sizes = [float(np.linalg.slogdet(one)[1]) for one in steps]
    gains = (sizes[1] - sizes[0], sizes[2] - sizes[1])
    return Plan(rig, (LIGHT,), ceiling_mmHg, free, tuple(pieces), gains, alone, whole)


def play_all(rig: Rig, pieces: Sequence[Piece], seed: int) -> list[dict[str, Samples]]:
    """What a virtual bench with another rig on it would record."""
    return [play_light(rig, piece, seed + 101 * i) if piece.played in (LAMP, RAMP) else
            play(rig, piece.command, piece.period_s, seed=seed + 101 * i) for i, piece in enumerate(pieces)]
