"""A rig's law in words of several lengths: planned, proved, judged in theory, and run in the loop against doubles."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.fixed.effects import Cycles, Stall, blind_error, blind_error_narrow, filter_cycles, stalls
from controller.fixed.formats import LEAST_BITS, MOST_BITS, Formats, effective, plan
from controller.fixed.law import FixedLaw
from controller.fixed.noise import AddedNoise, Converters, added_noise, parted_noise
from controller.fixed.proof import prove
from controller.fixed.ranges import Ranges
from controller.margins.loop import Loop, build_loop, loop_margins, sides
from controller.margins.margins import Margins
from controller.protection.guards import guard_parts
from controller.tick.law import Coefficients, design
from experiments.rigs.rig import Rig, clamp
from experiments.simulation.simulate import Ready, Run, mean_pressure, prepare, run_ready
from experiments.simulation.words import PLAN, ranges_in, with_law
from plant.errors import InputError
from plant.pressure.record import PressureTrace

LAST_DIGITS = (1e-6, 3e-6, 1e-5, 3e-5, 1e-4)  # relative changes of a gain that little but converters' last bits tell
MOST_CHARACTERS = 40  # of what was typed, in a complaint
NOISE_SHARE = 0.01  # of the servo's own error that rounding may add
MODULUS_CHANGE, PHASE_CHANGE_deg = 0.002, 0.1  # of the margins by rounded coefficients
BLIND_mmHg = 0.1  # that a steady error may be overlooked
MEMORIES = ("memory_s", "mean_s")  # what a lag's time constant is called in the tables of a rig


@dataclass(frozen=True)
class Length:
    """What one word length comes to."""

    words: int
    formats: Formats
    law: FixedLaw
    sums: dict[str, int]  # bits that each sum can take, by the proof
    status: str  # of the run
    added_mmHg: float  # measured: rms of cuff pressure against the run in doubles
    predicted: dict[str, AddedNoise]  # by side of the valve
    margins: dict[str, Margins]  # with the rounded coefficients
    modulus_change: float  # largest of either side
    phase_change_deg: float
    blind_mmHg: float
    blind_narrow_mmHg: float  # if the integral were a word
    cycles: dict[str, Cycles]
    saturated_share: float  # ticks of the clamp on which the error or the demand is at the end of its word

    @property
    def predicted_mmHg(self) -> float:
        """The larger of the sides."""
        return max(noise.whole for noise in self.predicted.values())

    def allowed_mmHg(self, floor_mmHg: float) -> float:
        """What the measured noise is held against: 1.5 √(predicted² + floor²)."""
        return 1.5 * math.hypot(self.predicted_mmHg, floor_mmHg)


@dataclass(frozen=True)
class Rounding:
    """All word lengths of a rig, and the one to take."""

    rig: Rig
    record: str
    coefficients: Coefficients
    ranges: Ranges
    margins: dict[str, Margins]  # of the law in doubles
    servo_mmHg: float  # rms of cuff pressure about what a perfect clamp reads, its mean taken out
    floor_mmHg: float  # largest rms between runs in doubles whose converters' last bits differ
    parted_mmHg: float  # the same, predicted
    light_step_mmHg: float  # of the light's converter, through its slope
    lengths: list[Length]
    refused: dict[int, str]
    stalls: list[Stall]
    recommended: int | None
    reasons: list[str]

    def length(self, words: int) -> Length:
        """One of the lengths."""
        return next(one for one in self.lengths if one.words == words)


def word_lengths(text: str) -> list[int]:
    """Word lengths of `LOW:HIGH`, `LOW:HIGH:STEP` or `A,B,C`. Raises InputError."""
    shown = text if len(text) <= MOST_CHARACTERS else f"{text[:MOST_CHARACTERS]}…"
    parts = text.split(":" if ":" in text else ",")
    if not all(part.isascii() and part.isdigit() for part in parts) or (":" in text and len(parts) > 3):
        raise InputError(f"--words {shown}: LOW:HIGH, LOW:HIGH:STEP or A,B,C, whole numbers of bits")
    if any(len(part) > 2 for part in parts):
        raise InputError(f"--words {shown}: lengths from {LEAST_BITS} to {MOST_BITS} bits")
    numbers = [int(part) for part in parts]
    if ":" in text and (numbers[0] > numbers[1] or 0 in numbers[2:]):
        raise InputError(f"--words {shown}: the first length not above the last, and a step of at least 1")
    found = list(range(numbers[0], numbers[1] + 1, *numbers[2:])) if ":" in text else sorted(set(numbers))
    if found[0] < LEAST_BITS or found[-1] > MOST_BITS:
        raise InputError(f"--words {shown}: lengths from {LEAST_BITS} to {MOST_BITS} bits")
    return found


def difference_mmHg(one: Run, other: Run) -> float:
    """Rms of the difference of two runs' cuff pressure over the ticks that count."""
    count = min(len(one.channels["cuff_mmHg"]), len(other.channels["cuff_mmHg"]))
    if count < len(other.channels["cuff_mmHg"]):
        return math.inf  # it diverged
    apart: NDArray[np.float64] = one.channels["cuff_mmHg"][:count] - other.channels["cuff_mmHg"][:count]
    return float(np.sqrt(np.mean(apart[other.counted[:count]] ** 2)))


def memories_of(rig: Rig) -> dict[str, float]:
    """Time constants of the protection's lags, by the key of the rig."""
    return {f"{table}.{key}": float(getattr(part, key)) for table, part in guard_parts(rig.guards).items()
            for key in MEMORIES if hasattr(part, key)}


def converters_of(rig: Rig) -> Converters:
    """Steps of a rig's converters."""
    light, transducer, law = rig.plant.light, rig.plant.transducer, design(rig.controller, rig.timing.period_s)
    return Converters(
        2.0**-light.bits if light.bits > 0 else 0.0,
        transducer.full_scale_mmHg * 2.0**-transducer.bits if transducer.bits > 0 else 0.0, law.output_quantum)


def loops_of(rig: Rig, mean_mmHg: float, law: Coefficients) -> dict[str, Loop]:
    """The loop on each side of the valve at a mean pressure."""
    point = clamp(rig, mean_mmHg, rig.tone.level)
    return {side: build_loop(rig.plant, point, side, rig.timing, rig.stage, law) for side in sides(rig.plant)}


def one_length(
    words: int, ready: Ready, double: Run, ranges: Ranges, loops: dict[str, Loop], plain: dict[str, Margins],
) -> Length:
    """Plan, prove, judge and run one word length. Raises InputError where the plan is refused."""
    law, formats = plan(double.coefficients, words, ranges)
    real = effective(law, formats)
    run = run_ready(with_law(ready, law))
    margins = {side: loop_margins(loop._replace(coefficients=real)) for side, loop in loops.items()}
    clamped = run.channels["mode"] == 1.0
    at_end = (np.abs(run.channels["error_mmHg"]) >= (law.error.greatest - 0.5) * law.error_step) \
        | (np.abs(run.channels["demand"]) >= (law.demand.greatest - 0.5) * law.demand_step)
    return Length(
        words, formats, law, prove(law), run.status, difference_mmHg(run, double),
        {side: added_noise(loop, law, formats, converters_of(ready.rig)) for side, loop in loops.items()}, margins,
        max(abs(margins[s].modulus_margin - plain[s].modulus_margin) for s in loops),
        max(abs(margins[s].phase_margin_deg - plain[s].phase_margin_deg) for s in loops),
        blind_error(law), blind_error_narrow(law, formats), filter_cycles(law, formats),
        float(np.mean(at_end[clamped])) if np.any(clamped) else 0.0,
    )


def study(
    rig: Rig, trace: PressureTrace, words: list[int], error_mmHg: float | None = None, seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Rounding:
    """All word lengths on one record. Raises InputError for a rig that cannot clamp or does not hold its clamp."""
    law = design(rig.controller, rig.timing.period_s)
    ready = prepare(rig, trace, PLAN, seed)
    double = run_ready(ready)
    if double.status != "done":
        raise InputError(f"rig {rig.name}: {double.message}; no word length can be judged on such a run")
    ranges = ranges_in(double, rig, law, error_mmHg)
    loops = loops_of(rig, mean_pressure(trace), law)
    plain = {side: loop_margins(loop) for side, loop in loops.items()}
    other = [difference_mmHg(run_ready(with_law(ready, law._replace(proportional=law.proportional * (1.0 + share)))),
                             double) for share in LAST_DIGITS]
    apart = (double.channels["cuff_mmHg"] - double.ideal_mmHg)[double.counted]
    lengths, refused = [], {}
    for k, count in enumerate(words):
        try:
            lengths.append(one_length(count, ready, double, ranges, loops, plain))
        except InputError as error:
            refused[count] = str(error)
        if progress is not None:
            progress((k + 1) / len(words))
    if not lengths:
        raise InputError(f"rig {rig.name}: {next(iter(refused.values()))}")
    servo, floor = float(np.std(apart)), max(other)
    recommended, reasons = recommend(lengths, servo, floor)
    light = 2.0**-rig.plant.light.bits / abs(ready.light_slope) if rig.plant.light.bits > 0 else 0.0
    memories = stalls(memories_of(rig), rig.timing.period_s, recommended or lengths[-1].words)
    predicted = max(parted_noise(loop, law, converters_of(rig)) for loop in loops.values())
    return Rounding(rig, trace.name, law, ranges, plain, servo, floor, predicted, light, lengths, refused, memories,
                    recommended, reasons)


def shortcomings(one: Length, servo_mmHg: float, floor_mmHg: float = 0.0) -> list[str]:
    """Why a length is too short; empty when it is not. What cannot be told from the floor is no reason."""
    found = []
    if one.status != "done":
        found.append(f"its run is {one.status}")
    if one.added_mmHg > max(NOISE_SHARE * servo_mmHg, floor_mmHg):
        found.append(f"adds {one.added_mmHg:.4f} mmHg, {100.0 * one.added_mmHg / servo_mmHg:.1f} % of the servo error "
                     f"(at most {100.0 * NOISE_SHARE:g} %)")
    if one.modulus_change > MODULUS_CHANGE or one.phase_change_deg > PHASE_CHANGE_deg:
        found.append(f"its coefficients move the modulus margin by {one.modulus_change:.2g} and the phase margin by "
                     f"{one.phase_change_deg:.2g}°")
    if one.blind_mmHg > BLIND_mmHg:
        found.append(f"overlooks a steady error of {one.blind_mmHg:.2g} mmHg (at most {BLIND_mmHg:g})")
    if one.saturated_share > 0.0:
        found.append(f"error or demand at the end of its word on {100.0 * one.saturated_share:.2g} % of the ticks")
    return found


def recommend(lengths: list[Length], servo_mmHg: float, floor_mmHg: float) -> tuple[int | None, list[str]]:
    """The shortest length that is good enough, and why no shorter one is."""
    reasons: dict[int, list[str]] = {one.words: shortcomings(one, servo_mmHg, floor_mmHg) for one in lengths}
    ordered = sorted(lengths, key=lambda one: one.words)
    chosen = next((one for one in ordered if not reasons[one.words]), None)
    if chosen is None:
        last = ordered[-1]
        return None, [f"{last.words} bits: {text}" for text in reasons[last.words]]
    said = [f"{chosen.words} bits add {chosen.added_mmHg:.4f} mmHg, "
            f"{100.0 * chosen.added_mmHg / servo_mmHg:.1f} % of the servo error",
            f"a steady error is seen from {chosen.blind_mmHg:.2g} mmHg on; the modulus margin moves by "
            f"{chosen.modulus_change:.1g}, the phase margin by {chosen.phase_change_deg:.1g}°"]
    shorter = [one for one in ordered if one.words < chosen.words]
    if shorter:
        said += [f"{shorter[-1].words} bits: {text}" for text in reasons[shorter[-1].words]]
    else:
        said.append("no shorter length was tried")
    return chosen.words, said
