"""Stories of tone and circulation for a run: arterial pressure, tone, ambient light, height of the hand, tick by tick.

A scenario is a list of declared events over the pressure and tone of a finger, with what of it is published and what is
invented. The same seed gives the same bits, and the same beats in every scenario, so that scenarios can be compared.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.bounds import check_bounds
from plant.declare import declared
from plant.errors import InputError
from plant.finger.tone import ToneDrive, tone_samples
from plant.pressure.synthetic import BeatTrain, SyntheticPressure, beat_train, draw
from plant.scenarios.events import (
    ArmOcclusion,
    Daylight,
    DeepBreaths,
    Event,
    HandMove,
    IrregularRhythm,
    Lamp,
    Mark,
    Slow,
    StandingUp,
    Stimulus,
    Waves,
    happen,
    quiet,
    wander,
)
from plant.scenarios.sudden import COURSES, OF_THE_HAND, HAND_s, HEIGHTS_m, Perfused, Sudden, smoothly
from plant.units import hydrostatic_mmHg

Samples = NDArray[np.float64]

WANDER_TONE, WANDER_TONE_s = 0.1, 300.0  # SD and correlation time of tone in every scenario (invented)
WANDER_mmHg, WANDER_PRESSURE_s = 1.5, 120.0  # and of pressure (invented; slow parts down to 0.026 Hz: Kuusela 2003)
LOWEST_TONE, HIGHEST_TONE = -2.0, 3.0  # what the artery's law is made for
LEAST_PULSE = 0.1  # of a pulse is always left, however events add up
LEAST_FINGER_mmHg = 40.0  # mean pressure that a raised hand keeps; it goes less high otherwise
USUAL_SYSTOLIC_mmHg = 120.0  # that sizes of pressure changes are given for
BEATS, FINGER_TONE, TONE, PRESSURE, WAVE = range(5)  # independent random streams
SPARE_s = 10.0  # of beats beyond the end, for rhythms that are joined


class Scenario(NamedTuple):
    """One story. `about` is one line for people; `published` and `invented` say where its numbers come from."""

    name: str
    about: str
    published: str
    invented: str
    events: tuple[Event | Sudden, ...] = ()

    @property
    def sudden(self) -> tuple[Sudden, ...]:
        """What of it happens within seconds."""
        return tuple(event for event in self.events if isinstance(event, Sudden))


class Circulation(NamedTuple):
    """Surroundings on the tick grid, each of shape (ticks + 1,), and what happened when."""

    arterial_mmHg: Samples  # in the finger, at the cuff's height
    heart_mmHg: Samples  # at heart level (the same array where hand and arm are left alone)
    tone: Samples
    ambient: Samples
    height_m: Samples  # of the cuff above the heart
    marks: list[Mark]  # (time in s, what happens), in order of time
    notes: list[str]  # what had to be shortened to fit the run


_ALWAYS = "Everywhere: slow wander of tone (SD 0.1) and pressure (SD 1.5 mmHg), invented."
_COLD_TONE = "size and time course of tone, pressure kept up for the whole exposure"
_LISTED = (
    Scenario("quiet", "a quiet hour: breathing, 0.1 Hz waves and slow wander only",
             "0.1 Hz waves about there in man (Julien 2006)", "sizes of the wander", ()),
    Scenario("cold", "cold exposure and rewarming, typical rise of pressure",
             "pressure +5–6 mmHg systolic and diastolic in cold pressor tests (Merrill 2017); finger constricts",
             _COLD_TONE, (Stimulus("cold", 0.15, 0.5, 1.2, 5.5, 5.5, 90.0, 240.0, 40.0, 90.0),)),
    Scenario("cold_strong", "cold exposure and rewarming, exaggerated rise of pressure",
             "pressure 121→144 / 75→90 mmHg in the 28 % that react most (Merrill 2017); finger constricts",
             _COLD_TONE, (Stimulus("cold", 0.15, 0.5, 1.8, 23.0, 15.0, 90.0, 240.0, 40.0, 90.0),)),
    Scenario("warm", "a warm room: slow dilation that stays",
             "finger flow rises manyfold from a cold to a warm room (1977, n = 7); no time course",
             "sizes and time constants", (Stimulus("warmth", 0.1, 1.0, -0.9, -3.0, -4.0, 600.0, 600.0, 600.0, 600.0),)),
    Scenario("drug", "a vasodilator is given and wears off",
             "nothing: direction only", "sizes and time constants",
             (Stimulus("drug", 0.25, 0.55, -0.8, -15.0, -10.0, 30.0, 300.0, 30.0, 300.0),)),
    Scenario("pain", "two painful stimuli: the finger constricts within seconds while pressure rises",
             "nothing: direction only", "sizes and time constants",
             (Stimulus("pain", 0.25, 0.35, 1.0, 15.0, 10.0, 4.0, 60.0, 8.0, 40.0),
              Stimulus("pain", 0.65, 0.72, 0.7, 10.0, 7.0, 4.0, 60.0, 8.0, 40.0))),
    Scenario("waves_weak", "weak 0.1 Hz waves of tone and pressure",
             "frequency (Julien 2006); amplitude of pressure 2–6 mmHg, from memory, lower end",
             "amplitude of tone, lag of pressure", (Waves(2.0, 0.06),)),
    Scenario("waves_strong", "strong 0.1 Hz waves of tone and pressure",
             "frequency (Julien 2006); amplitude of pressure 2–6 mmHg, from memory, upper end",
             "amplitude of tone, lag of pressure", (Waves(6.0, 0.3),)),
    Scenario("breaths", "a deep breath about once a minute, each of which narrows the finger's arteries for seconds",
             "perfusion of fingers falls by 59–79 % (Mayrovitz & Groseclose 2002–2005; Clin Sci 1995;89:233)",
             "share that reaches the arteries, times", (DeepBreaths(),)),
    Scenario("hand", "the hand is raised by 40 cm and brought back, then lowered by 30 cm and brought back",
             "40 cm at 4 cm/s change pressure in the finger by −31 mmHg (Raamat et al. 2009)",
             "the lowering; tone is left alone", (HandMove(0.4, 0.2, 0.4), HandMove(-0.3, 0.6, 0.8))),
    Scenario("pressure", "pressure falls, comes back, rises, comes back",
             "nothing: direction only", "sizes and time constants; tone rises a little as pressure falls",
             (Stimulus("low pressure", 0.15, 0.4, 0.3, -35.0, -22.0, 30.0, 60.0, 20.0, 30.0),
              Stimulus("high pressure", 0.6, 0.85, 0.1, 35.0, 20.0, 30.0, 60.0, 20.0, 30.0))),
    Scenario("irregular", "irregular rhythm with early beats for half of the time",
             "relative SD of intervals 0.2–0.3 in atrial fibrillation, from memory",
             "how a pulse depends on the interval before it", (IrregularRhythm(),)),
    Scenario("light", "a flickering lamp is switched on and off while daylight drifts",
             "flicker at twice the mains frequency", "levels of light", (Lamp(), Daylight())),
    Scenario("standing", "standing up and sitting down, the hand held at heart level",
             "mean fall 33 ± 21 mmHg, lowest within 15–20 s (n = 38)", "shape of the dip, diastolic part, tone",
             (StandingUp(),)),
    Scenario("occlusion", "the upper arm is shut and opened: no pulse, then reactive hyperaemia",
             "half-lives of the dilation 14–45 s and 50–560 s after 5 min (Imms et al. 1988)",
             "size of the dilation, share of its parts, pressure left in the finger", (ArmOcclusion(),)),
    Scenario("hypotension", "pressure falls by a third within ten seconds and stays there", "nothing: direction only",
             "size and time course", (Sudden("hypotension"),)),
    Scenario("hypertension", "pressure rises by a quarter within ten seconds and stays there",
             "nothing: direction only", "size and time course", (Sudden("hypertension"),)),
    Scenario("arrhythmia", "irregular rhythm and pulse, from one beat to the next", "nothing: direction only",
             "how time runs faster and slower, sizes of beats", (Sudden("arrhythmia"),)),
    Scenario("hand_raised", "the hand goes up by 40 cm in four seconds and stays",
             "40 cm change pressure in the finger by −31 mmHg (Raamat et al. 2009)", "speed", (Sudden("hand_raised"),)),
    Scenario("hand_lowered", "the hand goes down by 40 cm in four seconds and stays",
             "40 cm change pressure in the finger by 31 mmHg (Raamat et al. 2009)", "speed",
             (Sudden("hand_lowered"),)),
    Scenario("cold_finger", "the finger cools and its vessels constrict within half a minute",
             "nothing: direction only", "size and time course", (Sudden("cold_finger"),)),
    Scenario("valsalva", "strains for 15 s: pressure up, down, partly up, a dip at release, overshoot",
             "order and signs of the phases (Denq, O'Brien & Low 1998)", "sizes in the finger", (Sudden("valsalva"),)),
    Scenario("cough", "coughs three times", "nothing: direction only", "60 mmHg, times", (Sudden("cough"),)),
)
SCENARIOS: dict[str, Scenario] = {s.name: s._replace(invented=f"{s.invented}. {_ALWAYS}") for s in _LISTED}


def scenario_inputs(
    scenario: str | Scenario, pressure: SyntheticPressure, tone: ToneDrive, ambient: float, period_s: float,
    seconds: float, seed: int,
) -> Circulation:
    """A scenario over a finger's own pressure, tone and ambient light, for `seconds` in ticks of `period_s`.

    The 0.1 Hz waves of `pressure` and `tone` become one wave of both, unless the scenario brings its own. Raises
    InputError for an unknown scenario, an event out of bounds, or what `SyntheticPressure` refuses.
    """
    story = find_scenario(scenario)
    if not 0.0 <= ambient <= 1.0:
        raise InputError(f"ambient = {ambient:g} must be from 0 to 1 of full scale")
    check_story(story)
    own = pressure._replace(wave_mmHg=0.0)
    trace = draw(own, _beats(story, own, seconds, stream(seed, BEATS)), period_s, seconds).pressure_mmHg
    slow = slow_course(story, pressure, tone, seconds, seed)
    time: Samples = np.asarray(np.arange(len(trace)) * period_s, float)

    def on_ticks(coarse: Samples) -> Samples:
        return np.asarray(np.interp(time, slow.time_s, coarse))

    heart = _moved(trace, pressure, on_ticks(slow.systolic_mmHg), on_ticks(slow.diastolic_mmHg))
    moves, shuts = bool(np.any(slow.height_m != 0.0)), bool(np.any(slow.open < 1.0))
    height = on_ticks(slow.height_m) if moves else np.zeros(len(trace))
    finger = heart - hydrostatic_mmHg(1.0) * height if moves else heart
    if shuts:
        opened = on_ticks(slow.open)
        finger = opened * finger + (1.0 - opened) * on_ticks(slow.floor_mmHg)
    samples = tone_samples(tone._replace(wave=0.0), len(trace), period_s, stream(seed, FINGER_TONE))
    samples += on_ticks(slow.tone)
    np.clip(samples, LOWEST_TONE, HIGHEST_TONE, out=samples)
    for event in story.sudden:
        since, of_the_heart = time - event.start * seconds, event.course not in OF_THE_HAND
        changed = COURSES[event.course](Perfused(finger, samples), since, event.severity)
        if of_the_heart:
            heart = changed.arterial_mmHg if finger is heart else COURSES[event.course](
                Perfused(heart, samples), since, event.severity).arterial_mmHg
        finger, samples = changed.arterial_mmHg, np.clip(changed.tone, LOWEST_TONE, HIGHEST_TONE)
        if event.course in HEIGHTS_m:
            height = height + event.severity * HEIGHTS_m[event.course] * smoothly(since, 0.0, HAND_s)
        slow.marks.append((event.start * seconds, event.course.replace("_", " ")))
    light = ambient_light(story, ambient, time, period_s, seconds)
    return Circulation(finger, heart, samples, light, height, sorted(slow.marks), slow.notes)


def find_scenario(scenario: str | Scenario) -> Scenario:
    """A scenario by name, or the one given. Raises InputError."""
    if isinstance(scenario, Scenario):
        return scenario
    if scenario not in SCENARIOS:
        raise InputError(f"scenario '{str(scenario)[:60]}' is not known; use one of {', '.join(SCENARIOS)}")
    return SCENARIOS[scenario]


def check_story(story: Scenario) -> None:
    """Raise InputError for an event out of bounds."""
    for event in story.events:
        label = f"scenario {story.name}: {type(event).__name__}"
        check_bounds(event, label)
        if isinstance(event, Sudden) and event.course not in COURSES:
            raise InputError(f"{label}.course = {event.course[:60]!r} is not known; use one of {', '.join(COURSES)}")
        start, end = (getattr(event, key, None) for key in ("start", "end"))
        if start is not None and end is not None and start >= end:
            raise InputError(f"{label}.end = {end:g} must be after start = {start:g}")


def stream(seed: int, channel: int) -> int:
    """Seed of an independent random stream."""
    return int(np.random.SeedSequence([seed, channel]).generate_state(1)[0])


def slow_course(story: Scenario, pressure: SyntheticPressure, tone: ToneDrive, seconds: float, seed: int) -> Slow:
    """Wander, waves and the scenario's own events."""
    slow = quiet(seconds)
    drift = wander(slow, WANDER_mmHg, WANDER_PRESSURE_s, stream(seed, PRESSURE))
    slow = slow._replace(
        tone=wander(slow, WANDER_TONE, WANDER_TONE_s, stream(seed, TONE)), systolic_mmHg=drift, diastolic_mmHg=drift
    )
    events: tuple[Event, ...] = tuple(event for event in story.events if not isinstance(event, Sudden))
    if not any(isinstance(event, Waves) for event in events):
        events = (Waves(pressure.wave_mmHg, tone.wave, pressure.wave_Hz, 0.25 / pressure.wave_Hz), *events)
    size = pressure.systolic_mmHg / USUAL_SYSTOLIC_mmHg
    for event in events:
        if isinstance(event, HandMove):
            event = _reachable(event, pressure, slow)
        slow = happen(slow, event, seconds, size, stream(seed, WAVE))
    return slow


def _reachable(move: HandMove, pressure: SyntheticPressure, slow: Slow) -> HandMove:
    """The hand as high as leaves enough pressure in the finger to be measured at all."""
    mean = pressure.diastolic_mmHg + (pressure.systolic_mmHg - pressure.diastolic_mmHg) / 3.0
    highest = max(mean - LEAST_FINGER_mmHg, 0.0) / hydrostatic_mmHg(1.0)
    if move.height_m <= highest:
        return move
    slow.notes.append(f"hand: {100 * move.height_m:.0f} cm up lowered to {100 * highest:.0f} cm at this low pressure")
    return move._replace(height_m=highest)


def _moved(trace: Samples, pressure: SyntheticPressure, systolic_mmHg: Samples, diastolic_mmHg: Samples) -> Samples:
    """The trace with a regular beat's foot and peak moved by so much; works in the arrays it is given."""
    foot = pressure.diastolic_mmHg
    gain = systolic_mmHg
    gain -= diastolic_mmHg
    gain /= pressure.systolic_mmHg - foot
    gain += 1.0
    np.maximum(gain, LEAST_PULSE, out=gain)
    trace -= foot
    trace *= gain
    trace += diastolic_mmHg
    trace += foot
    return np.asarray(np.maximum(trace, 0.0, out=trace))


def ambient_light(story: Scenario, ambient: float, time_s: Samples, period_s: float, seconds: float) -> Samples:
    """Ambient light; a tick too long to show a lamp's flicker leaves it out."""
    light = np.full(len(time_s), ambient)
    for event in story.events:
        if isinstance(event, Daylight):
            light += event.drift / seconds * time_s
        elif isinstance(event, Lamp):
            end = math.inf if event.end >= 1.0 else event.end * seconds
            first, last = np.searchsorted(time_s, [event.start * seconds, end])
            lit = time_s[first:last]
            wave: Any = 0.0
            if event.flicker_Hz * period_s < 0.4:
                wave = event.flicker * np.sin(2.0 * np.pi * event.flicker_Hz * lit)
            light[first:last] += event.level * (1.0 + wave)
    return np.asarray(np.maximum(light, 0.0, out=light))


def _beats(story: Scenario, params: SyntheticPressure, seconds: float, seed: int) -> BeatTrain:
    """The beats: regular ones as the finger has them, with a stretch of irregular ones where the story says so."""
    train = beat_train(params, seconds, seed)
    for event in story.events:
        if isinstance(event, IrregularRhythm):
            wild = params._replace(irregular=event.irregular, ectopic_share=event.ectopic_share)
            longer = beat_train(params, seconds + SPARE_s, seed)
            middle = _joined(longer, beat_train(wild, seconds + SPARE_s, seed), event.start * seconds)
            train = _joined(middle, longer, event.end * seconds) if event.end < 1.0 else middle
    return train


def _joined(first: BeatTrain, second: BeatTrain, time_s: float) -> BeatTrain:
    """Beats of the first train up to a time, then those of the second, shifted by less than a beat to begin there."""
    last = int(np.searchsorted(first.onset_s, time_s))
    start = int(np.searchsorted(second.onset_s, time_s))
    shift = first.onset_s[last] - second.onset_s[start]
    return first._replace(
        onset_s=np.concatenate([first.onset_s[:last], second.onset_s[start:] + shift]),
        foot_mmHg=np.concatenate([first.foot_mmHg[:last], second.foot_mmHg[start:]]),
        peak_mmHg=np.concatenate([first.peak_mmHg[:last], second.peak_mmHg[start:]]),
        ectopic=np.concatenate([first.ectopic[:last], second.ectopic[start:]]),
    )


def declaration(scenario: Scenario) -> list[str]:
    """A scenario in lines for people: what happens, what is published, what is invented, and every number of it."""
    lines = [f"{scenario.name}: {scenario.about}", f"published: {scenario.published}", f"invented: {scenario.invented}"]
    for event in scenario.events:
        for parameter in declared(type(event)):
            value = getattr(event, parameter.name)
            shown = value if isinstance(value, str) else f"{value:g} {parameter.unit}".removesuffix(" 1")
            lines.append(f"{type(event).__name__}.{parameter.name} = {shown}: {parameter.meaning} ({parameter.source})")
    return lines
