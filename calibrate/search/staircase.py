"""The staircase of cuff pressures on which a search looks at the pulsation of the light.

Wide steps up until the pulsation has clearly fallen, then narrow ones about the largest. What is measured at each step
is the *rise* of optical depth −ln(light) from the foot of a beat to its peak within a third of a second: the pulse is
quick, while the veins' emptying, the wall's creep and the vessel's tone are slow and drop out of it.
"""
from __future__ import annotations

from collections.abc import Generator
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Failed, Hold, Instrument, Request, Samples, Seen
from plant.declare import quantity

SMOOTH_s = 0.03  # moving mean over the light, against noise
RISE_s = 0.3  # a beat's upstroke is over by then, from 40 to 150 beats a minute
APART_s = 0.3  # two upstrokes are never closer
EMPTY_mmHg = 8.0  # reading of an empty cuff, offsets and noise included
AT_END_SHARE = 0.02  # of samples at an end of the converter, beyond which the light is saturated
NO_PULSE_SNR = 4.0  # pulsation over the noise of the same measurement, below which there is none
FALLEN = 0.6  # of the largest pulsation: the climb is over


class Staircase(NamedTuple):
    """Steps of cuff pressure."""

    first_mmHg: Annotated[float, quantity("mmHg", 10, 100, "first step", "invented")] = 40.0
    spacing_mmHg: Annotated[float, quantity("mmHg", 10, 80, "between steps on the way up", "invented")] = 40.0
    settle_s: Annotated[float, quantity("s", 0.1, 10, "wait after each step", "invented")] = 0.4
    watch_s: Annotated[float, quantity("s", 0.5, 10, "time watched; a beat at 40 a minute is 1.5 s", "invented")] = 1.6


class Step(NamedTuple):
    """What one step showed."""

    pressure_mmHg: float  # mean reading
    rise: float  # median rise of optical depth from foot to peak of a beat
    foot: float  # optical depth at the foot of its beats, median
    mean: float  # mean optical depth
    mean_light: float  # mean light, share of full scale
    noise: float  # SD of one smoothed sample of optical depth
    residual_rms: float  # residual of optical depth about a smooth drift, RMS: a pulse of any kind
    spread: float  # relative spread of the rises of its beats, 0 for fewer than two
    depth: Samples  # smoothed optical depth, tick by tick


Climb = Generator[Request, Seen, "list[Step] | Failed"]


def optical_depth(light: Samples, period_s: float) -> Samples:
    """−ln(light), smoothed by a centred moving mean; shorter than `light` by its width less one tick."""
    width = max(round(SMOOTH_s / period_s), 1)
    return np.convolve(-np.log(np.maximum(light, 1e-9)), np.full(width, 1.0 / width), "valid")


def rises(depth: Samples, period_s: float) -> list[tuple[float, int]]:
    """(rise, tick of its peak) of each beat: the largest gains over the lowest depth of the last third of a second."""
    width = round(RISE_s / period_s)
    if len(depth) <= width:
        return []
    lowest = lowest_of(depth, width)[: len(depth) - width]
    gain = depth[width:] - lowest
    found: list[tuple[float, int]] = []
    left = gain.copy()
    apart = round(APART_s / period_s)
    while len(found) < 20:
        at = int(np.argmax(left))
        if left[at] <= 0.0 or (found and left[at] < 0.5 * found[0][0]):
            break
        found.append((float(gain[at]), at + width))
        left[max(0, at - apart) : at + apart] = -1.0
    return found


def lowest_of(values: Samples, width: int) -> Samples:
    """The lowest of every `width` samples running, shape (samples − width + 1,), by doubling."""
    lowest, covered = values, 1
    while covered < width:
        further = min(covered, width - covered)
        lowest = np.minimum(lowest[:-further], lowest[further:])
        covered += further
    return lowest


def measure(seen: Seen, settle_s: float, period_s: float) -> Step:
    """What a hold showed once settled."""
    first = round(settle_s / period_s)
    light = seen.light[first:]
    raw = -np.log(np.maximum(light, 1e-9))
    depth = optical_depth(light, period_s)
    beats = rises(depth, period_s)
    width = round(RISE_s / period_s)
    sizes = np.array([size for size, _ in beats] or [0.0])
    feet = [float(np.min(depth[at - width : at])) for _, at in beats] or [float(np.min(depth))]
    # second differences at one tick hold next to nothing of the pulse: SD of white noise is theirs over √6
    noise = float(np.std(np.diff(raw, 2))) / np.sqrt(6.0) / np.sqrt(max(round(SMOOTH_s / period_s), 1))
    time = np.linspace(-1.0, 1.0, len(depth))
    drift = np.polynomial.polynomial.polyfit(time, depth, 3)
    residual_rms = float(np.std(depth - np.polynomial.polynomial.polyval(time, drift)))
    spread = float(np.std(sizes) / np.mean(sizes)) if len(sizes) > 1 else 0.0
    return Step(
        float(np.mean(seen.reading_mmHg[first:])), float(np.median(sizes)), float(np.median(feet)),
        float(np.mean(depth)), float(np.mean(light)), noise, residual_rms, spread, depth,
    )


def climb(stairs: Staircase, instrument: Instrument) -> Climb:
    """Wide steps up, then narrow ones about the largest pulsation. Returns the steps in order of pressure."""
    steps: list[Step] = []
    asked: list[float] = []
    pressure = stairs.first_mmHg

    def take(pressure_mmHg: float, purpose: str) -> Generator[Request, Seen, Failed | None]:
        seen = yield Hold(pressure_mmHg, stairs.settle_s + stairs.watch_s, purpose)
        if not steps and (loose := too_loose(seen, pressure_mmHg, instrument)):
            return loose
        if dark := saturated(seen, instrument):
            return dark
        steps.append(measure(seen, stairs.settle_s, instrument.period_s))
        asked.append(pressure_mmHg)
        return None

    while True:
        failure = yield from take(pressure, "way up")
        if failure:
            return failure
        largest = max(s.rise for s in steps)
        if pulsing(steps) and steps[-1].rise < FALLEN * largest:
            break
        if pressure >= instrument.highest_mmHg:
            if not pulsing(steps):
                return Failed("no pulse", _pulse_text(steps))
            best = max(steps, key=lambda s: s.rise)
            return Failed(
                "pressure range exhausted", f"largest pulsation at {best.pressure_mmHg:.0f} mmHg, "
                f"{100 * steps[-1].rise / best.rise:.0f} % of it left at {pressure:.0f} mmHg")
        pressure = min(pressure + stairs.spacing_mmHg, instrument.highest_mmHg)
    best_asked = asked[int(np.argmax([s.rise for s in steps]))]
    room = min(stairs.spacing_mmHg, instrument.highest_mmHg - best_asked)
    for between in (best_asked + 0.5 * room, best_asked - 0.5 * stairs.spacing_mmHg):
        failure = yield from take(max(between, 0.5 * stairs.first_mmHg), "between")
        if failure:
            return failure
    return sorted(steps, key=lambda s: s.pressure_mmHg)


def pulsing(steps: list[Step]) -> bool:
    """Whether any step shows more than its own noise and drift."""
    return any(s.residual_rms > NO_PULSE_SNR * s.noise and s.rise > NO_PULSE_SNR * s.noise for s in steps)


def _pulse_text(steps: list[Step]) -> str:
    best = max(steps, key=lambda s: s.residual_rms / max(s.noise, 1e-12))
    return f"{len(steps)} steps, at best {best.residual_rms:.2g} of optical depth over noise of {best.noise:.2g}"


def saturated(seen: Seen, instrument: Instrument) -> Failed | None:
    """A failure when the light sits at an end of its converter."""
    step = max(instrument.light_step, 1e-6)
    high = float(np.mean(seen.light >= 1.0 - 1.5 * step))
    low = float(np.mean(seen.light <= 20.0 * step))
    if max(high, low) <= AT_END_SHARE:
        return None
    end = "full scale" if high > low else "zero"
    return Failed("light saturated", f"at {end} for {100 * max(high, low):.0f} % of the time")


def too_loose(seen: Seen, pressure_mmHg: float, instrument: Instrument) -> Failed | None:
    """A failure when the first fill took too long against the factory's.

    A cuff that was not empty at its start tells nothing.
    """
    if seen.reading_mmHg[0] > EMPTY_mmHg:
        return None
    rise = fill_rise_s(seen.reading_mmHg, pressure_mmHg, instrument.period_s)
    if rise <= instrument.loose_ratio * instrument.rise_s:
        return None
    return Failed("cuff too loose", f"first fill {1e3 * rise:.1f} ms, {1e3 * instrument.rise_s:.1f} ms expected")


def fill_rise_s(reading_mmHg: Samples, pressure_mmHg: float, period_s: float) -> float:
    """63 % rise time [s] of a fill to a pressure, to a share of a tick; all of its time when it never came so far."""
    wanted = 0.632 * pressure_mmHg
    reached = np.nonzero(reading_mmHg >= wanted)[0]
    if not len(reached) or reached[0] == 0:
        return len(reading_mmHg) * period_s
    at = int(reached[0])
    before, after = reading_mmHg[at - 1], reading_mmHg[at]
    return float(at - 1 + (wanted - before) / (after - before)) * period_s
