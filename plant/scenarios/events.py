"""What can happen to a finger and its circulation during a run, and its time course on a coarse grid.

Each event is a declared NamedTuple; its starts and ends are shares of the run, so that five minutes tell the same
story as an hour. Events add up in `Slow`: what pressure, tone and height do more slowly than a beat. Sizes of pressure
are for a systolic pressure of 120 mmHg and scale with it (invented). What is published is named at the parameter.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.declare import quantity, switch
from plant.finger.tone import ToneDrive, exposure, tone_samples
from plant.pressure.hand import USUAL_m_s, straight, way_s

Samples = NDArray[np.float64]

GRID_s = 0.05  # of the coarse grid: straight lines between its points bend a 0.1 Hz wave by 1e-4 of its size
TIME_CONSTANTS = 4.0  # that fit into a stage of the story; longer ones are shortened to it
LN2 = math.log(2.0)

Start = Annotated[float, quantity("1", 0, 1, "when it begins, as a share of the run", "scenario")]
End = Annotated[float, quantity("1", 0, 1, "when it ends, as a share of the run; 1 for never", "scenario")]
Word = Annotated[str, switch("what it is called in marks and figures", "scenario")]
Rise = Annotated[float, quantity("s", 0.1, 10000, "first-order time constant of its start", "invented")]
Fall = Annotated[float, quantity("s", 0.1, 10000, "first-order time constant of its end", "invented")]


class Stimulus(NamedTuple):
    """Something that changes tone and pressure together: cold, warmth, a drug, pain, loss of blood."""

    word: Word
    start: Start
    end: End
    tone: Annotated[float, quantity("1", -3, 3, "tone added, + constricts", "invented")] = 0.0
    systolic_mmHg: Annotated[float, quantity("mmHg", -60, 60, "change of systolic pressure", "scenario")] = 0.0
    diastolic_mmHg: Annotated[float, quantity("mmHg", -40, 40, "change of diastolic pressure", "scenario")] = 0.0
    tone_rise_s: Rise = 60.0
    tone_fall_s: Fall = 180.0
    pressure_rise_s: Rise = 30.0
    pressure_fall_s: Fall = 60.0


class Waves(NamedTuple):
    """0.1 Hz waves of tone and, behind them, of pressure; their frequency and size wander, as in people."""

    pressure_mmHg: Annotated[float, quantity("mmHg", 0, 20, "amplitude in pressure", "2–6, from memory")] = 2.0
    tone: Annotated[float, quantity("1", 0, 2, "amplitude in tone", "invented")] = 0.05
    frequency_Hz: Annotated[float, quantity("Hz", 0.02, 0.2, "their mean frequency", "about 0.1 Hz: Julien 2006")] = 0.1
    lag_s: Annotated[float, quantity("s", 0, 20, "pressure follows tone by", "invented: a quarter of a period")] = 2.5
    spread_Hz: Annotated[float, quantity("Hz", 0, 0.02, "SD of the frequency", "invented")] = 0.004
    swell: Annotated[float, quantity("1", 0, 0.5, "relative SD of the size", "invented")] = 0.25


class DeepBreaths(NamedTuple):
    """Gasps now and then: after each the finger's shunts shut and its arteries narrow for some seconds.

    x e^{1 − x} up to its peak, x counted from the end of the dead time, then an exponential return.
    """

    every_s: Annotated[float, quantity("s", 10, 600, "mean time between two", "invented: 0.5 to 1.5 times that")] = 60.0
    tone: Annotated[
        float, quantity("1", 0, 2, "tone added at the peak",
                        "perfusion falls by 54–79 %, published; a third to a half of it reaches the artery, estimate")
    ] = 0.4
    dead_s: Annotated[float, quantity("s", 0, 5, "from the breath to the first change", "1.2, from memory")] = 1.2
    peak_s: Annotated[float, quantity("s", 0.5, 10, "from then to the peak", "2.9 after the breath, from memory")] = 1.7
    return_s: Annotated[float, quantity("s", 1, 60, "time constant of the return", "10–30 s in all, from memory")] = 8.0


class HandMove(NamedTuple):
    """The hand, and the cuff on it, goes up by a height (down if negative) and comes back."""

    height_m: Annotated[float, quantity("m", -1, 1, "height above where it was", "0.40: Raamat et al. 2009")] = 0.4
    start: Start = 0.25
    end: End = 0.5
    speed_m_s: Annotated[float, quantity("m/s", 0.005, 2, "its speed", "4–5 cm/s: Raamat et al. 2009")] = USUAL_m_s


class StandingUp(NamedTuple):
    """Pressure at the heart after active standing: a quick dip, recovery, and a slightly raised diastolic level.

    Dip: (t/t_n)² e^{2(1 − t/t_n)} of its depth, with its deepest point at t_n. Only the size and the time of the nadir
    are published (initial orthostatic fall, n = 38).
    """

    start: Start = 0.35
    end: End = 0.75
    systolic_fall_mmHg: Annotated[
        float, quantity("mmHg", 0, 80, "systolic fall at the nadir", "−33 ± 21 after active standing, published")
    ] = 33.0
    diastolic_fall_mmHg: Annotated[
        float, quantity("mmHg", 0, 60, "diastolic fall at the nadir", "invented: below the 20 that counts as ill")
    ] = 18.0
    nadir_s: Annotated[
        float, quantity("s", 2, 20, "from standing up to the nadir", "at most 15–20 s, published")
    ] = 10.0
    diastolic_after_mmHg: Annotated[
        float, quantity("mmHg", -20, 20, "diastolic change while standing", "invented")
    ] = 5.0
    tone_after: Annotated[float, quantity("1", -2, 2, "tone added while standing", "invented")] = 0.3
    settle_s: Rise = 15.0


class ArmOcclusion(NamedTuple):
    """A cuff on the upper arm shuts the artery, then opens: no pulse, then reactive hyperaemia.

    The dilation decays as the sum of a fast and a slow exponential; long occlusions hold it on a plateau first.
    """

    start: Start = 0.3
    occluded_s: Annotated[float, quantity("s", 10, 1200, "time shut", "5 min: Imms et al. 1988")] = 300.0
    floor_mmHg: Annotated[float, quantity("mmHg", 0, 60, "pressure left in the finger", "invented")] = 25.0
    run_off_s: Annotated[float, quantity("s", 0.5, 60, "time constant of the fall to it", "invented")] = 8.0
    dilation: Annotated[float, quantity("1", 0, 2, "tone taken away at release", "invented")] = 1.0
    fast_half_life_s: Annotated[
        float, quantity("s", 14, 45, "half-life of the fast part", "14–45 s: Imms et al. 1988")
    ] = 25.0
    slow_half_life_s: Annotated[
        float, quantity("s", 50, 560, "half-life of the slow part", "50–560 s: Imms et al. 1988")
    ] = 150.0
    fast_share: Annotated[float, quantity("1", 0, 1, "share of the fast part", "invented")] = 0.7
    plateau_s: Annotated[
        float, quantity("s", 0, 600, "plateau before the decay", "none after 5 min, some after 10–15: Imms et al. 1988")
    ] = 0.0


class IrregularRhythm(NamedTuple):
    """For a while beats come at random intervals, some of them early."""

    start: Start = 0.25
    end: End = 0.75
    irregular: Annotated[float, quantity("1", 0, 1, "share of beats with a random interval", "scenario")] = 1.0
    ectopic_share: Annotated[float, quantity("1", 0, 0.5, "chance of an early beat", "scenario")] = 0.05


class Lamp(NamedTuple):
    """A lamp near the finger is switched on and off; it flickers with the mains."""

    start: Start = 0.3
    end: End = 0.6
    level: Annotated[float, quantity("1", 0, 1, "light added, share of full scale", "invented")] = 0.015
    flicker: Annotated[float, quantity("1", 0, 1, "amplitude of its flicker, share of its light", "invented")] = 0.1
    flicker_Hz: Annotated[
        float, quantity("Hz", 1, 1000, "flicker frequency, twice the mains", "100 or 120 Hz, common practice")
    ] = 100.0


class Daylight(NamedTuple):
    """Ambient light drifts over the whole run."""

    drift: Annotated[float, quantity("1", -1, 1, "light added by the end, share of full scale", "invented")] = 0.01


Event = Stimulus | Waves | DeepBreaths | HandMove | StandingUp | ArmOcclusion | IrregularRhythm | Lamp | Daylight
Mark = tuple[float, str]


class Slow(NamedTuple):
    """What happens more slowly than a beat, on a coarse grid: each of shape (points,)."""

    time_s: Samples
    tone: Samples  # added
    systolic_mmHg: Samples  # added at the heart
    diastolic_mmHg: Samples
    height_m: Samples  # of the cuff above the heart
    open: Samples  # share of the pulse that comes through to the finger
    floor_mmHg: Samples  # what the finger's pressure is where nothing comes through
    marks: list[Mark]
    notes: list[str]  # what was shortened


def quiet(seconds: float) -> Slow:
    """Nothing happens, for `seconds` and a little more."""
    time = _grid(int(seconds / GRID_s) + 3)
    still = np.zeros(len(time))
    return Slow(time, still, still, still, still, np.ones(len(time)), still, [], [])


def _grid(points: int) -> Samples:
    return np.asarray(np.arange(points) * GRID_s, float)


def course(slow: Slow, seconds: float, start: float, end: float, rise_s: float, fall_s: float, word: str) -> Samples:
    """From 0 to 1 at `start` and back at `end` (shares of the run), first order; shape of the grid.

    Time constants that do not fit into their stage four times are shortened, which `slow.notes` then says.
    """
    stop = end if end < 1.0 else 0.0
    stage, rest = (end - start) * seconds, max(1.0 - end, 0.0) * seconds
    rise = _fitting(slow, rise_s, stage, f"{word}, onset")
    fall = _fitting(slow, fall_s, rest, f"{word}, return") if stop else fall_s
    return exposure(ToneDrive(change=1.0, onset_s=start * seconds, rise_s=rise, end_s=stop * seconds, fall_s=fall),
                    slow.time_s)


def _fitting(slow: Slow, constant_s: float, stage_s: float, what: str) -> float:
    longest = max(stage_s / TIME_CONSTANTS, 0.01)
    if constant_s <= longest:
        return constant_s
    slow.notes.append(f"{what}: time constant of {constant_s:g} s shortened to {longest:.3g} s to fit the run")
    return longest


def happen(slow: Slow, event: Event, seconds: float, size: float, seed: int) -> Slow:
    """The slow course with one more event in it. `size` scales changes of pressure (systolic over 120 mmHg)."""
    if isinstance(event, Stimulus):
        return _stimulus(slow, event, seconds, size)
    if isinstance(event, Waves):
        return _waves(slow, event, seed)
    if isinstance(event, DeepBreaths):
        return _deep_breaths(slow, event, seconds, seed)
    if isinstance(event, HandMove):
        return _hand_move(slow, event, seconds)
    if isinstance(event, StandingUp):
        return _standing(slow, event, seconds, size)
    if isinstance(event, ArmOcclusion):
        return _occlusion(slow, event, seconds)
    word = {IrregularRhythm: "irregular rhythm", Lamp: "lamp"}.get(type(event))
    if word and isinstance(event, IrregularRhythm | Lamp):
        _mark(slow, seconds, event.start, event.end, word)
    return slow


def _mark(slow: Slow, seconds: float, start: float, end: float, word: str) -> None:
    slow.marks.append((start * seconds, f"{word} begins"))
    if end < 1.0:
        slow.marks.append((end * seconds, f"{word} ends"))


def _stimulus(slow: Slow, event: Stimulus, seconds: float, size: float) -> Slow:
    span = (slow, seconds, event.start, event.end)
    _mark(slow, seconds, event.start, event.end, event.word)
    tone, pressure = slow.tone, (slow.systolic_mmHg, slow.diastolic_mmHg)
    if event.tone != 0.0:
        tone = tone + event.tone * course(*span, event.tone_rise_s, event.tone_fall_s, f"tone, {event.word}")
    if event.systolic_mmHg != 0.0 or event.diastolic_mmHg != 0.0:
        share = size * course(*span, event.pressure_rise_s, event.pressure_fall_s, f"pressure, {event.word}")
        pressure = (pressure[0] + event.systolic_mmHg * share, pressure[1] + event.diastolic_mmHg * share)
    return slow._replace(tone=tone, systolic_mmHg=pressure[0], diastolic_mmHg=pressure[1])


def wander(slow: Slow, sd: float, time_constant_s: float, seed: int) -> Samples:
    """A slow random path of that SD and correlation time; shape of the grid."""
    return sd * tone_samples(ToneDrive(wander=1.0, wander_time_s=time_constant_s), len(slow.time_s), GRID_s, seed)


def _waves(slow: Slow, event: Waves, seed: int) -> Slow:
    """One wave with a wandering frequency and size; tone leads, pressure follows."""
    lead = round(event.lag_s / GRID_s)
    longer = slow._replace(time_s=_grid(len(slow.time_s) + lead))
    start = float(np.random.Generator(np.random.PCG64(seed)).uniform())
    turns = start + np.cumsum(event.frequency_Hz + event.spread_Hz * wander(longer, 1.0, 30.0, seed + 1)) * GRID_s
    wave = (1.0 + event.swell * wander(longer, 1.0, 30.0, seed + 2)) * np.sin(2.0 * np.pi * turns)
    pressure = event.pressure_mmHg * wave[: len(slow.time_s)]
    return slow._replace(
        tone=slow.tone + event.tone * wave[lead:],
        systolic_mmHg=slow.systolic_mmHg + pressure, diastolic_mmHg=slow.diastolic_mmHg + pressure,
    )


def narrowing(event: DeepBreaths, since_s: Samples) -> Samples:
    """Share of the tone of a deep breath (0 … 1) at times since it [s]: 1 at the peak. Shape of `since_s`."""
    x = (since_s - event.dead_s) / event.peak_s
    rising = np.maximum(x, 0.0) * np.exp(1.0 - np.clip(x, 0.0, 1.0))
    return np.asarray(np.where(x < 1.0, rising, np.exp((1.0 - np.maximum(x, 1.0)) * event.peak_s / event.return_s)))


def _deep_breaths(slow: Slow, event: DeepBreaths, seconds: float, seed: int) -> Slow:
    """One after the other at random intervals; what they add up to is the largest of them."""
    random, tone, time = np.random.Generator(np.random.PCG64(seed)), np.zeros(len(slow.time_s)), 0.0
    while (time := time + event.every_s * float(random.uniform(0.5, 1.5))) < seconds:
        tone = np.maximum(tone, event.tone * narrowing(event, slow.time_s - time))
        slow.marks.append((time, "deep breath"))
    return slow._replace(tone=slow.tone + tone)


def _hand_move(slow: Slow, event: HandMove, seconds: float) -> Slow:
    """Straight ramps, no faster than said, and fast enough to arrive within half of its stage."""
    stage = (event.end - event.start) * seconds
    ramp = way_s(event.height_m, event.speed_m_s, GRID_s)
    if ramp > 0.5 * stage:
        slow.notes.append(f"hand: way of {ramp:.3g} s shortened to {0.5 * stage:.3g} s to fit the run")
        ramp = 0.5 * stage
    up = straight(slow.time_s, event.start * seconds, ramp)
    if event.end < 1.0:
        up = up - straight(slow.time_s, event.end * seconds, ramp)
    way = f"{abs(100.0 * event.height_m):.0f} cm {'up' if event.height_m > 0.0 else 'down'}"
    slow.marks.append((event.start * seconds, f"hand {way}"))
    if event.end < 1.0:
        slow.marks.append((event.end * seconds, "hand back"))
    return slow._replace(height_m=slow.height_m + event.height_m * up)


def standing_dip(event: StandingUp, since_s: Samples) -> Samples:
    """Share of the fall (0 … 1) at times since standing up [s]: 1 at the nadir. Shape of `since_s`."""
    ratio = np.maximum(since_s, 0.0) / event.nadir_s
    return np.asarray(ratio * ratio * np.exp(2.0 * (1.0 - ratio)))


def _standing(slow: Slow, event: StandingUp, seconds: float, size: float) -> Slow:
    dip = size * standing_dip(event, slow.time_s - event.start * seconds)
    after = course(slow, seconds, event.start, event.end, event.settle_s, event.settle_s, "standing")
    slow.marks.append((event.start * seconds, "stands up"))
    if event.end < 1.0:
        slow.marks.append((event.end * seconds, "sits down"))
    return slow._replace(
        tone=slow.tone + event.tone_after * after,
        systolic_mmHg=slow.systolic_mmHg - event.systolic_fall_mmHg * dip,
        diastolic_mmHg=slow.diastolic_mmHg - event.diastolic_fall_mmHg * dip
        + size * event.diastolic_after_mmHg * after,
    )


def hyperaemia(event: ArmOcclusion, since_release_s: Samples) -> Samples:
    """Dilation (tone taken away, positive) at times since the release [s]; 0 before. Shape of the times."""
    since = since_release_s - event.plateau_s
    fast = event.fast_share * np.exp(-LN2 * np.maximum(since, 0.0) / event.fast_half_life_s)
    slow = (1.0 - event.fast_share) * np.exp(-LN2 * np.maximum(since, 0.0) / event.slow_half_life_s)
    return np.asarray(np.where(since_release_s >= 0.0, event.dilation * (fast + slow), 0.0))


def _occlusion(slow: Slow, event: ArmOcclusion, seconds: float) -> Slow:
    """Shut for as long as said, or for a fifth of a shorter run; the arm's cuff takes a second to shut or open."""
    shut = min(event.occluded_s, 0.2 * seconds)
    if shut < event.occluded_s:
        slow.notes.append(f"arm: occlusion of {event.occluded_s:g} s shortened to {shut:.3g} s to fit the run")
    start = event.start * seconds
    share = np.clip(slow.time_s - start, 0.0, 1.0) - np.clip(slow.time_s - start - shut, 0.0, 1.0)
    run_off = np.exp(-np.maximum(slow.time_s - start, 0.0) / event.run_off_s)
    slow.marks.extend([(start, "arm shut"), (start + shut, "arm opened")])
    return slow._replace(
        tone=slow.tone - hyperaemia(event, slow.time_s - start - shut),
        open=slow.open * (1.0 - share * share * (3.0 - 2.0 * share)),
        floor_mmHg=event.floor_mmHg + (80.0 - event.floor_mmHg) * run_off,
    )
