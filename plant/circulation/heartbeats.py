"""When the heart beats and how much each beat ejects: breathing, ectopic beats, irregular rhythm, apnoea.

Stroke volume follows the filling time before it, v = v_max (1 − exp(−t/τ)), and swings with the breath; the sum over a
regular rhythm is the person's own. Sizes are invented unless their declaration says otherwise.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.bounds import check_bounds
from plant.circulation.line import Samples
from plant.declare import quantity
from plant.errors import InputError

SHORTEST_s, LONGEST_s = 0.27, 2.2
FILLING = 0.35  # time constant of filling as a share of the usual beat
PREMATURE, EARLY_VOLUME = (0.55, 0.75), 0.6  # length of the interval before an ectopic beat; its contraction
IRREGULAR_SPREAD = 0.22  # relative SD of the intervals of an irregular rhythm


class Rhythm(NamedTuple):
    """How the beats vary."""

    breaths_per_min: Annotated[float, quantity("1/min", 4, 60, "breaths", "0.15–0.4 Hz: Task Force 1996")] = 15.0
    breath_volume: Annotated[
        float, quantity("1", 0, 0.3, "amplitude of the breath in stroke volume, as a share", "invented")
    ] = 0.04
    breath_interval: Annotated[
        float, quantity("1", 0, 0.3, "amplitude of the breath in the interval, as a share", "invented")
    ] = 0.02
    interval_sd: Annotated[float, quantity("1", 0, 0.2, "SD of the interval besides, as a share", "invented")] = 0.01
    ectopic_share: Annotated[float, quantity("1", 0, 0.5, "chance that a beat comes early", "none by default")] = 0.0
    irregular: Annotated[float, quantity("1", 0, 1, "share of beats at random intervals", "none by default")] = 0.0
    disturbed_start_s: Annotated[
        float, quantity("s", 0, 86400, "when ectopic and irregular beats begin", "scenario")
    ] = 0.0
    disturbed_s: Annotated[float, quantity("s", 0, 86400, "for how long; 0 for throughout", "scenario")] = 0.0
    apnoea_start_s: Annotated[float, quantity("s", 0, 86400, "when breathing stops", "scenario")] = 0.0
    apnoea_s: Annotated[float, quantity("s", 0, 600, "for how long; 0 for never", "scenario")] = 0.0


class Heartbeats(NamedTuple):
    """Beats in order, from before time 0 to after the end of the record."""

    opening_s: Samples  # (beats + 1,) when the aortic valve opens, with the end of the last beat
    stroke_mL: Samples  # (beats,)
    ectopic: NDArray[np.bool_]  # (beats,)
    breath: Samples  # (beats,) phase [rad], standing still in apnoea


def heartbeats(
    rhythm: Rhythm, rate_per_min: float, stroke_mL: float, begin_s: float, end_s: float, seed: int
) -> Heartbeats:
    """Beats from `begin_s` (or a beat before) to `end_s` [s]. The same seed gives the same. Raises InputError."""
    check_bounds(rhythm)
    if not begin_s < end_s <= begin_s + 90_000.0:
        raise InputError(f"beats from {begin_s:g} to {end_s:g} s: give an end after the start, within a day")
    random = np.random.Generator(np.random.PCG64(seed))
    usual = 60.0 / rate_per_min
    start = float(random.uniform(0.0, 2.0 * math.pi))
    time = begin_s - usual
    openings, ectopic, breath = [time], list[bool](), list[float]()
    intervals: list[float] = []
    early_next = False
    while time <= end_s:
        chance, place, noise = random.uniform(), random.uniform(), random.standard_normal()
        wild = random.gamma(IRREGULAR_SPREAD**-2, IRREGULAR_SPREAD**2)
        phase, swing = breath_phase(rhythm, time, start)
        ectopic.append(early_next)
        breath.append(phase)
        was_early = early_next
        disturbed = is_disturbed(rhythm, time)
        early_next = disturbed and not was_early and chance < rhythm.ectopic_share
        if was_early:
            interval = 2.0 * usual - intervals[-1]
        elif early_next:
            interval = usual * (PREMATURE[0] + (PREMATURE[1] - PREMATURE[0]) * place)
        elif disturbed and place < rhythm.irregular:
            interval = usual * wild
        else:
            interval = usual * (1.0 + swing * rhythm.breath_interval * math.sin(phase + 0.5 * math.pi)
                                + rhythm.interval_sd * noise)
        intervals.append(min(max(interval, SHORTEST_s), LONGEST_s))
        time += intervals[-1]
        openings.append(time)
    return _filled(rhythm, np.array(openings), np.array(ectopic), np.array(breath), (usual, stroke_mL))


def is_disturbed(rhythm: Rhythm, time_s: float) -> bool:
    """Whether ectopic and irregular beats may come at a time."""
    return rhythm.disturbed_s <= 0.0 or 0.0 <= time_s - rhythm.disturbed_start_s < rhythm.disturbed_s


def breath_phase(rhythm: Rhythm, time_s: float, start: float) -> tuple[float, float]:
    """Phase of the breath [rad] and whether there is breathing (1 or 0) at a time."""
    rate = 2.0 * math.pi * rhythm.breaths_per_min / 60.0
    held = min(max(time_s - rhythm.apnoea_start_s, 0.0), rhythm.apnoea_s)
    holding = rhythm.apnoea_s > 0.0 and 0.0 <= time_s - rhythm.apnoea_start_s < rhythm.apnoea_s
    return start + rate * (time_s - held), 0.0 if holding else 1.0


def _filled(
    rhythm: Rhythm, opening_s: Samples, ectopic: NDArray[np.bool_], breath: Samples, usual: tuple[float, float]
) -> Heartbeats:
    """Stroke volumes by filling time, breath and kind of beat."""
    interval_s, stroke_mL = usual
    before = np.concatenate([[interval_s], np.diff(opening_s)[:-1]])
    constant = FILLING * interval_s
    filled = (1.0 - np.exp(-before / constant)) / (1.0 - math.exp(-1.0 / FILLING))
    held = np.clip(opening_s[:-1] - rhythm.apnoea_start_s, 0.0, rhythm.apnoea_s)
    breathing = ~((rhythm.apnoea_s > 0.0) & (held > 0.0) & (held < rhythm.apnoea_s))
    swing = 1.0 + rhythm.breath_volume * np.sin(breath) * breathing
    return Heartbeats(opening_s, stroke_mL * filled * swing * np.where(ectopic, EARLY_VOLUME, 1.0), ectopic, breath)
