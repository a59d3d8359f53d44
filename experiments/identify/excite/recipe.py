"""Which commands to play: pieces for a rig, scaled to a pressure ceiling, and the best of them for the time.

A piece is planned on the rig as it is believed to be. What the pressure really does depends on what is to be found, so
the predicted peak stays well below the ceiling. Pieces are taken one after the other, each time that which adds most
to the logarithm of the determinant of the information, for its time (D-optimal, greedy; Fedorov 1972).
"""
from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.identify.excite.shapes import chirp, multisine, multisine_lines, steps, triangle
from experiments.identify.replay.candidates import bench_of, candidate
from experiments.identify.replay.kernel import Drive, replay, steps_for
from experiments.rigs.rig import Rig
from plant.errors import InputError
from plant.parts import valve_at_rest, valve_nature

Samples = NDArray[np.float64]

REST_s = 0.1  # at the start of each: noise and offset are told there
RESERVE = 0.6  # of the ceiling: the true rig may be half as strong again as the one that is believed in
BASE_Hz, HIGH_Hz, LINES, PERIODS = 2.0, 600.0, 60, 3
RESPONSE, RESPONSE_PERIODS, SMALL = "response", 6, 0.02  # a multisine small enough for a response, and its share
PARTS = ("valve", "tube", "cuff", "transducer", "supply", "timing")
WANTED = {
    "valve": ("step", "click", "multisine", "sweep"), "tube": ("multisine", "chirp", "click"),
    "cuff": ("fill", "vent_down", "leak_down", "step"), "transducer": ("click", "multisine"), "supply": ("droop",),
    "timing": ("click", "step"),
}


class Piece(NamedTuple):
    """One command to be played, from a vented rest."""

    played: str  # one of recording.KINDS
    command: Samples
    period_s: float
    periods: int
    peak_mmHg: float  # of cuff or valve end, as predicted


def pieces_for(rig: Rig, parts: Sequence[str], ceiling_mmHg: float, rate_Hz: float, seed: int = 1) -> list[Piece]:
    """All pieces that tell of some parts of a rig, each scaled to the ceiling. Raises InputError."""
    for part in parts:
        if part not in (*PARTS, RESPONSE):
            raise InputError(f"--for {part}: use some of {', '.join((*PARTS, RESPONSE))}")
    if not parts:
        raise InputError(f"--for: name at least one of {', '.join(PARTS)}")
    flow = valve_nature(rig.plant.valve).lowest_command < 0.0
    kinds = list(dict.fromkeys(kind for part in PARTS if part in parts for kind in WANTED[part]))
    if RESPONSE in parts:  # a multisine, too, but a small one, and longer
        kinds = [kind for kind in kinds if kind != "multisine"] + [RESPONSE]
    make = _flow_piece if flow else _pressure_piece
    made = [_scaled(rig, kind, make, ceiling_mmHg, 1.0 / rate_Hz, seed) for kind in kinds]
    return [piece for piece in made if piece is not None]


def predicted_peak(rig: Rig, command: Samples, period_s: float) -> float:
    """Highest pressure [mmHg] at either end of the line that the rig as believed would reach."""
    one = candidate(bench_of(rig), (), ())
    drive = Drive(command, period_s, steps_for(one.pneumatics, period_s, 0.8))
    found = replay([one], drive, ("node_mmHg", "cuff_mmHg"))
    return float(max(np.max(values) for values in found.values()))


def _scaled(
    rig: Rig, kind: str, make: Callable[[Rig, str, float, float, int], Samples], ceiling: float, period_s: float,
    seed: int,
) -> Piece | None:
    """The strongest of a falling series whose predicted peak stays within the reserve."""
    rest = np.zeros(round(REST_s / period_s))
    for strength in 0.85 ** np.arange(0, 24):
        command = np.concatenate([rest, make(rig, kind, float(strength), period_s, seed)])
        low = valve_nature(rig.plant.valve).lowest_command
        command = np.clip(command, low, 1.0)
        peak = predicted_peak(rig, command, period_s)
        if peak <= RESERVE * ceiling:
            periods = {"multisine": PERIODS, RESPONSE: RESPONSE_PERIODS}.get(kind, 0)
            return Piece("multisine" if kind == RESPONSE else kind, command, period_s, periods, peak)
    return None


def _filled(rig: Rig, pressure_mmHg: float) -> tuple[float, float]:
    """Command and time [s] that bring an empty cuff about to a pressure through a flow valve."""
    plant = rig.plant
    openings = valve_nature(plant.valve).openings
    dead = openings.dead_band if openings else 0.0
    command = dead + 0.15
    scale = (openings.conductance if openings else 0.05) / (1.0 - dead) * 0.15
    flow = scale * 1000.0 / 750.0 * (plant.supply.pressure_mmHg + plant.air.atmosphere_mmHg)
    volume = plant.cuff.volume_mL + 0.5 * plant.cuff.growth_mL
    return command, pressure_mmHg * volume / (plant.air.atmosphere_mmHg * flow)


def _flow_piece(rig: Rig, kind: str, strength: float, period_s: float, seed: int) -> Samples:
    """Commands for a valve between supply and room: what is filled is vented again."""
    openings = valve_nature(rig.plant.valve).openings
    dead = openings.dead_band if openings else 0.0
    up, seconds = _filled(rig, 160.0 * strength)
    seconds = max(seconds, 4 * period_s)
    if kind == "step":
        levels = []
        for share, times in ((1.0, 1.0), (0.5, 2.0), (3.0, 0.33), (0.25, 4.0)):
            opening = min(0.15 * share, 0.9 - dead)
            long = seconds * times * 0.15 * share / opening
            levels += [(dead + opening, long), (0.0, 0.08), (-dead - opening, 0.6 * long), (0.0, 0.08),
                       (-dead - 0.3, 0.1)]
        return steps(levels, period_s)
    if kind == "click":
        short = max(seconds * 0.15 / (0.9 - dead), 2 * period_s)
        pair = [(0.9, short), (0.0, 0.06), (-0.9, short), (0.0, 0.06), (-0.5, 0.04)]
        return steps(pair * 5, period_s)
    if kind == "sweep":
        reach = dead + 0.12 * strength
        return triangle(-1.5 * reach, reach, 1.2, period_s)
    if kind == "fill":
        return steps([(dead + 0.02, 8.0 * seconds), (0.0, 0.1), (-dead - 0.02, 8.0 * seconds), (-0.5, 0.1)], period_s)
    if kind == "leak_down":
        return steps([(up, seconds), (0.0, 1.2)], period_s)
    if kind == "vent_down":
        return steps(
            [(up, seconds), (0.0, 0.1), (-1.0, 0.15), (up, seconds), (0.0, 0.1), (-dead - 0.03, 0.5)], period_s)
    if kind == "droop":
        return steps([(0.9, seconds * 0.15 / 0.88), (-1.0, 0.03)] * 30 + [(0.0, 0.3)], period_s)
    rest = resting_command(rig)
    reach = 0.9 * max(rest - dead, 0.01) * strength
    settling = 0.5 if kind == RESPONSE else 0.15
    return np.concatenate([steps([(up, seconds), (rest, settling)], period_s),
                           rest + reach * _wave(kind, period_s, seed)])


def resting_command(rig: Rig) -> float:
    """Command that holds 90 mmHg."""
    plant = rig.plant
    return float(valve_at_rest(plant.valve, plant.air, plant.supply, 90.0 * plant.cuff.leak_mL_s_mmHg, 90.0).command)


def _pressure_piece(rig: Rig, kind: str, strength: float, period_s: float, seed: int) -> Samples:
    """Commands for a valve that is asked for a pressure."""
    most = min(strength, 1.0)
    if kind == "step":
        levels = [(share * most, 0.12) for share in (0.3, 0.9, 0.15, 0.6, 0.45, 0.8, 0.0)]
        return steps(levels, period_s)
    if kind == "click":
        middle = (0.4 * most, 0.05)
        return steps([(0.4 * most, 0.15), *([(0.9 * most, 0.004), middle, (0.0, 0.004), middle] * 6)], period_s)
    if kind == "sweep":
        return triangle(0.0, most, 2.0, period_s)
    if kind == "fill":
        return steps([(most, 0.5), (0.5 * most, 0.3), (0.0, 0.2)], period_s)
    if kind == "leak_down":
        return steps([(0.8 * most, 1.5)], period_s)
    if kind == "vent_down":
        return steps([(most, 0.3), (0.0, 0.4), (0.5 * most, 0.3), (0.0, 0.3)], period_s)
    if kind == "droop":
        return steps([(most, 0.08), (0.0, 0.06)] * 20 + [(0.0, 0.2)], period_s)
    share, settling = (SMALL, 0.5) if kind == RESPONSE else (0.3, 0.25)
    return np.concatenate([steps([(0.45 * most, settling)], period_s),
                           most * (0.45 + share * _wave(kind, period_s, seed))])


def _wave(kind: str, period_s: float, seed: int) -> Samples:
    high = min(HIGH_Hz, 0.2 / period_s)
    if kind == "chirp":
        return chirp(BASE_Hz, high, 1.5, period_s)
    periods = RESPONSE_PERIODS if kind == RESPONSE else PERIODS
    return multisine(multisine_lines(BASE_Hz, high, LINES), BASE_Hz, periods, period_s, seed)


def best_order(
    information: Sequence[NDArray[np.float64]], seconds: Sequence[float], most_s: float, prior: NDArray[np.float64]
) -> list[tuple[int, float]]:
    """Pieces in the order in which they help most for their time, until the time is spent: (index, gain in nats).

    `prior` is what is known without any of them; it makes the determinant of the first one finite.
    """
    chosen: list[tuple[int, float]] = []
    known, left = np.array(prior, float), most_s
    while True:
        _, present = np.linalg.slogdet(known)
        gains = [(float(np.linalg.slogdet(known + one)[1] - present), i) for i, one in enumerate(information)
                 if i not in {k for k, _ in chosen} and seconds[i] <= left + 1e-9]
        if not gains:
            return chosen
        gain, best = max(gains, key=lambda pair: pair[0] / seconds[pair[1]])
        chosen.append((best, gain))
        known, left = known + information[best], left - seconds[best]
