"""What a protected run adds up while it goes: pressures, times, who acted first, and what a display would have shown.

Sums are part of the run's state, so that a run of any length needs no trace, and any number of them go side by side.
"""
from __future__ import annotations

from typing import Any, NamedTuple

from numba.extending import overload

from controller.protection.protection import DETECTORS
from plant.assembly import Plant, Surroundings
from plant.declare import OPTIONS, inlined
from plant.finger.artery import Artery, unloaded_pressure
from plant.numerics.vector import choose

BACKUPS = ("relief", "dump_valve", "pressure_switch", "watchdog")  # what acts without firmware
LAYERS = (*DETECTORS, *BACKUPS)
FIGURES = (  # of a run: pressures from its first tick, times and display from the onset of the fault
    "highest_mmHg", "above_normal_s", "above_fault_s", "integral_mmHg_s", "detected_s", "vent_start_s", "below_20_s",
    "below_15_s", "wrong_s", "wrong_longest_s", "wrong_mmHg", "lowest_mmHg", "wrong_at_alarm_mmHg", "skin_degC",
)
NEVER = -1.0
SKIN_C, WARMED_K, WARMS_s = 33.0, 2.0, 15.0  # skin in the dark, its rise at nominal drive, its time constant (invented)


class Judge(NamedTuple):
    """What a run is held against."""

    normal_mmHg: float  # highest cuff pressure in normal use
    fault_mmHg: float  # and in a single-fault condition
    wrong_mmHg: float  # mean distance of the shown waveform from the true one that counts as wrong
    mean_s: float  # over which that distance is averaged
    artery: Artery  # of the finger without any fault
    transmission: float  # share of cuff pressure at the artery without any fault
    onset_tick: int  # from which on times and display count
    patience_s: float  # how long an emptying cuff is waited for


class Limits(NamedTuple):
    """Of what a run is held against, all that does not follow from its finger."""

    normal_mmHg: float = 300.0
    fault_mmHg: float = 330.0
    wrong_mmHg: float = 10.0
    mean_s: float = 1.0
    patience_s: float = 15.0


def judge_of(plant: Plant, limits: Limits, onset_tick: int) -> Judge:
    """What a run on this plant, as it is without any fault, is held against from a tick on."""
    return Judge(limits.normal_mmHg, limits.fault_mmHg, limits.wrong_mmHg, limits.mean_s, plant.artery,
                 plant.tissue.transmission, onset_tick, limits.patience_s)


class PressureSums(NamedTuple):
    """Cuff pressure, from the first tick on."""

    highest_mmHg: float
    lowest_mmHg: float
    above_normal_s: float
    above_fault_s: float
    integral_mmHg_s: float


class VentTimes(NamedTuple):
    """When the cuff was let go [s since the onset], how long until it stayed below, and for how long it is empty."""

    vent_start_s: float
    below_20_s: float
    below_15_s: float
    empty_s: float


class DisplaySums(NamedTuple):
    """What was shown and believed, and when somebody first warned [s since the onset]."""

    wrong_s: float
    wrong_longest_s: float
    wrong_mmHg: float  # largest mean distance
    wrong_now_s: float
    wrong_mean_mmHg: float
    detected_s: float
    wrong_at_alarm_mmHg: float


class SkinHeat(NamedTuple):
    """Skin under the emitter: its rise now [K] and its highest temperature [°C]; a first-order lag of the drive."""

    rise_K: float
    skin_degC: float


class Sums(NamedTuple):
    """All that a run adds up, and when each detector and each backup first acted [s since the onset]."""

    pressure: PressureSums
    vent: VentTimes
    display: DisplaySums
    skin: SkinHeat
    detectors: tuple[float, ...]
    backups: tuple[float, ...]


class Seen(NamedTuple):
    """What a tick has to count."""

    since_s: float  # since the onset, negative before it
    released: bool  # the cuff is let go, or there is no power
    warned: bool  # nobody may believe the display
    trusted: bool  # it shows a clamp without a warning
    shown_mmHg: float
    judged: bool  # detectors count: the firmware ran, and had not vented
    emitted: float  # by the emitter, share of nominal
    detectors: tuple[bool, ...]
    backups: tuple[bool, ...]


def nothing_yet() -> Sums:
    """The sums of a run that has yet to begin."""
    return Sums(
        PressureSums(0.0, float("inf"), 0.0, 0.0, 0.0), VentTimes(NEVER, NEVER, NEVER, 0.0),
        DisplaySums(0.0, 0.0, 0.0, 0.0, 0.0, NEVER, 0.0), SkinHeat(WARMED_K, SKIN_C + WARMED_K),
        (NEVER,) * len(DETECTORS), (NEVER,) * len(BACKUPS),
    )


def figures_of(sums: Sums) -> dict[str, float]:
    """FIGURES by name."""
    known = {**sums.pressure._asdict(), **sums.vent._asdict(), **sums.display._asdict(), **sums.skin._asdict()}
    return {name: float(known[name]) for name in FIGURES}


def first_actions(sums: Sums) -> dict[str, float]:
    """When each of LAYERS first acted [s since the onset]; NEVER where it did not."""
    return {name: float(at) for name, at in zip(LAYERS, (*sums.detectors, *sums.backups), strict=True)}


@inlined
def add_pressure(sums: PressureSums, judge: Judge, cuff_mmHg: float, period_s: float) -> PressureSums:
    """Count one tick of cuff pressure."""
    return PressureSums(
        max(sums.highest_mmHg, cuff_mmHg), min(sums.lowest_mmHg, cuff_mmHg),
        sums.above_normal_s + choose(cuff_mmHg > judge.normal_mmHg, period_s, 0.0),
        sums.above_fault_s + choose(cuff_mmHg > judge.fault_mmHg, period_s, 0.0),
        sums.integral_mmHg_s + max(cuff_mmHg, 0.0) * period_s,
    )


@inlined
def below(time_s: float, limit_mmHg: float, cuff_mmHg: float, taken_s: float) -> float:
    """Time after which the cuff was below a limit for good: kept while it is below, void once it is above."""
    kept: float = choose(cuff_mmHg > limit_mmHg, NEVER, choose(time_s < 0.0, taken_s, time_s))
    return kept


@inlined
def add_vent(times: VentTimes, seen: Seen, cuff_mmHg: float, period_s: float) -> VentTimes:
    """Count one tick of emptying, if the cuff has been let go since the onset."""
    begins = (seen.since_s >= 0.0) & seen.released & (times.vent_start_s < 0.0)
    start = choose(begins, seen.since_s, times.vent_start_s)
    taken, venting = seen.since_s - start, start >= 0.0
    return VentTimes(
        start,
        choose(venting, below(times.below_20_s, 20.0, cuff_mmHg, taken), times.below_20_s),
        choose(venting, below(times.below_15_s, 15.0, cuff_mmHg, taken), times.below_15_s),
        choose(venting, choose(cuff_mmHg < 5.0, times.empty_s + period_s, 0.0), times.empty_s),
    )


@inlined
def add_display(
    sums: DisplaySums, judge: Judge, seen: Seen, around: Surroundings, period_s: float
) -> DisplaySums:
    """Count one tick of what is shown, from the onset on while it is trusted, against what a perfect clamp shows."""
    counts = seen.since_s >= 0.0
    first = counts & seen.warned & (sums.detected_s < 0.0)
    detected = choose(first, seen.since_s, sums.detected_s)
    at_alarm = choose(first, sums.wrong_mean_mmHg, sums.wrong_at_alarm_mmHg)
    ideal = (around.arterial_mmHg - unloaded_pressure(judge.artery, around.tone)) / judge.transmission
    distance = abs(seen.shown_mmHg - ideal)
    trusted = counts & seen.trusted
    nearer = sums.wrong_mean_mmHg + (distance - sums.wrong_mean_mmHg) * (period_s / (judge.mean_s + period_s))
    mean = choose(trusted, nearer, sums.wrong_mean_mmHg)
    wrong = trusted & (mean > judge.wrong_mmHg)
    now = choose(wrong, sums.wrong_now_s + period_s, choose(counts, 0.0, sums.wrong_now_s))
    return DisplaySums(
        choose(wrong, sums.wrong_s + period_s, sums.wrong_s), max(sums.wrong_longest_s, now),
        choose(trusted, max(sums.wrong_mmHg, mean), sums.wrong_mmHg), now, mean, detected, at_alarm,
    )


@inlined
def add_heat(sums: SkinHeat, emitted: float, period_s: float) -> SkinHeat:
    """Count one tick of light that becomes heat."""
    rise = sums.rise_K + (WARMED_K * emitted - sums.rise_K) * (period_s / (WARMS_s + period_s))
    return SkinHeat(rise, max(sums.skin_degC, SKIN_C + rise))


def noted(times: Any, acts: Any, counts: Any, since_s: Any) -> Any:
    """First times [s] of what acts on this tick, if it counts, element by element; earlier ones stay."""
    return tuple(
        choose(bool(counts & act & (time < 0.0)), since_s, time) for time, act in zip(times, acts, strict=True)
    )


@overload(noted, jit_options=OPTIONS)
def _noted(times, acts, counts, since_s):  # type: ignore[no-untyped-def]
    body = "".join(f"choose(counts & acts[{i}] & (times[{i}] < 0.0), since_s, times[{i}]), " for i in range(len(times)))
    scope: dict[str, Any] = {"choose": choose}
    exec(f"def note_all(times, acts, counts, since_s):\n    return ({body})\n", scope)
    return scope["note_all"]


@inlined
def counted(
    sums: Sums, judge: Judge, seen: Seen, cuff_mmHg: float, around: Surroundings, period_s: float
) -> Sums:
    """The sums after a tick. What acts before the onset counts as acting at it."""
    acting = max(seen.since_s, 0.0)
    return Sums(
        add_pressure(sums.pressure, judge, cuff_mmHg, period_s), add_vent(sums.vent, seen, cuff_mmHg, period_s),
        add_display(sums.display, judge, seen, around, period_s), add_heat(sums.skin, seen.emitted, period_s),
        noted(sums.detectors, seen.detectors, seen.judged, acting), noted(sums.backups, seen.backups, True, acting),
    )
