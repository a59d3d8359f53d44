"""A scenario that happens to a virtual person: flow and pressures that belong together, and what the finger gets of it.

What a scenario adds to the pressure at the heart is made by the circulation: a share of it, FLOW_SHARE, by stroke
volume, the rest by the resistance of all beds, both as factors of the mean pressure above that at which flow stops.
Tone is that of finger and hand together. The hand's height and a shut arm act on the finger only.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from plant.circulation.beds import OUTFLOW_mmHg
from plant.circulation.heartbeats import Rhythm
from plant.circulation.person import Physiology
from plant.circulation.person_name import Named
from plant.circulation.person_pressure import Course, PersonRecord, person_record
from plant.circulation.state import steady_state
from plant.errors import InputError
from plant.finger.tone import ToneDrive, tone_samples
from plant.pressure.resample import resample
from plant.pressure.synthetic import SyntheticPressure
from plant.scenarios.events import GRID_s, IrregularRhythm, Slow
from plant.scenarios.scenario import (
    BEATS,
    FINGER_TONE,
    HIGHEST_TONE,
    LOWEST_TONE,
    Circulation,
    Samples,
    Scenario,
    ambient_light,
    check_story,
    find_scenario,
    slow_course,
    stream,
)
from plant.units import hydrostatic_mmHg

FLOW_SHARE = 0.5  # of a change of pressure that is flow's, on a logarithmic scale (invented)
LEAST_MEAN_mmHg = 45.0  # that a circulation keeps, however events add up (invented)
RECORD_s = 5e-3  # tick of flow and pressures away from the finger


class PersonStory(NamedTuple):
    """What happens: on the rig's ticks what the finger gets, and on ticks of RECORD_s the truth behind it."""

    circulation: Circulation
    record: PersonRecord
    course: Course


def person_story(
    scenario: str | Scenario, who: Named, tone: ToneDrive, ambient: float, period_s: float, seconds: float, seed: int
) -> PersonStory:
    """A slow scenario over a person, for `seconds` in ticks of `period_s`; the same seed gives the same bits.

    `tone` is the drive of the finger's arteries, to which the hand's resistance goes along. Raises InputError for an
    unknown scenario, and for one that happens within seconds.
    """
    story = find_scenario(scenario)
    check_story(story)
    if story.sudden:
        raise InputError(f"scenario {story.name}: happens within seconds and has no circulation behind it; of a "
                         "virtual person take a slow one, such as quiet, cold or hand")
    pressure = _as_pressure(who)
    slow = slow_course(story, pressure, tone, seconds, seed)
    course = _course(who.state, tone, slow, seed)
    record = person_record(who.person, who.state, _rhythm(who.rhythm, story, seconds), RECORD_s,
                           seconds + 2.0 * RECORD_s, stream(seed, BEATS), course)
    time: Samples = np.asarray(np.arange(round(seconds / period_s) + 1) * period_s, float)
    heart = resample(record.finger_mmHg, time / RECORD_s, period_s / RECORD_s)

    def on_ticks(coarse: Samples) -> Samples:
        return np.asarray(np.interp(time, slow.time_s, coarse))

    height = on_ticks(slow.height_m)
    finger = heart - hydrostatic_mmHg(1.0) * height
    if np.any(slow.open < 1.0):
        opened = on_ticks(slow.open)
        finger = opened * finger + (1.0 - opened) * on_ticks(slow.floor_mmHg)
    light = ambient_light(story, ambient, time, period_s, seconds)
    told = Circulation(finger, heart, on_ticks(course.tone), light, height, sorted(slow.marks), slow.notes)
    return PersonStory(told, record, course)


def _as_pressure(who: Named) -> SyntheticPressure:
    """The person's finger pressure as scenarios know one: their sizes go by it."""
    finger = steady_state(who.person, who.state).finger_mmHg
    return SyntheticPressure(systolic_mmHg=float(np.max(finger)), diastolic_mmHg=float(np.min(finger)),
                             rate_per_min=who.state.rate_per_min)


def _course(state: Physiology, tone: ToneDrive, slow: Slow, seed: int) -> Course:
    """Tone, resistance and flow on the scenario's grid."""
    own = tone_samples(tone._replace(wave=0.0), len(slow.time_s), GRID_s, stream(seed, FINGER_TONE))
    driven = np.clip(state.tone + own + slow.tone, LOWEST_TONE, HIGHEST_TONE)
    mean = np.maximum(state.mean_mmHg + (slow.systolic_mmHg + 2.0 * slow.diastolic_mmHg) / 3.0, LEAST_MEAN_mmHg)
    factor = (mean - OUTFLOW_mmHg) / (state.mean_mmHg - OUTFLOW_mmHg)
    return Course(slow.time_s, driven, factor ** (1.0 - FLOW_SHARE), factor**FLOW_SHARE)


def _rhythm(rhythm: Rhythm, story: Scenario, seconds: float) -> Rhythm:
    """The person's rhythm, disturbed where the story says so."""
    for event in story.events:
        if isinstance(event, IrregularRhythm):
            rhythm = rhythm._replace(
                irregular=event.irregular, ectopic_share=event.ectopic_share, disturbed_start_s=event.start * seconds,
                disturbed_s=max((event.end - event.start) * seconds, 1e-3))
    return rhythm
