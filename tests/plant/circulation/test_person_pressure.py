import numpy as np
import pytest

from plant.circulation.heartbeats import Rhythm
from plant.circulation.person import person_of, usual_physiology
from plant.circulation.person_pressure import Course, convolved, impulse_responses, person_record, toned
from plant.circulation.state import steady_state
from plant.errors import InputError

PERSON = person_of(45.0, "f")
STATE = usual_physiology(PERSON)
EVEN = Rhythm(breath_volume=0.0, breath_interval=0.0, interval_sd=0.0)


def test_an_even_record_is_the_steady_state() -> None:
    record, steady = person_record(PERSON, STATE, EVEN, 1e-3, 6.0, 1), steady_state(PERSON, STATE)
    interval = 60.0 / STATE.rate_per_min
    phase = (np.arange(6001) * 1e-3 - record.beats.opening_s[record.beats.opening_s > 0][0]) % interval
    for got, known in ((record.aortic_mmHg, steady.aortic_mmHg), (record.finger_mmHg, steady.finger_mmHg)):
        assert got == pytest.approx(np.interp(phase, steady.time_s, known, period=interval), abs=0.15)


def test_stroke_volumes_are_the_area_of_the_flow() -> None:
    record = person_record(PERSON, STATE, Rhythm(ectopic_share=0.2), 1e-3, 20.0, 3)
    area = np.concatenate([[0.0], np.cumsum(record.flow_mL_s) * 1e-3])
    inside = np.flatnonzero((record.beats.opening_s[:-1] > 0.1) & (record.beats.opening_s[1:] < 19.8))
    ticks = np.rint((record.beats.opening_s - 0.03) * 1e3).astype(int)  # resampling rings a little before the opening
    assert np.ptp(record.beats.stroke_mL[inside]) > 15.0
    for k in inside:
        assert area[ticks[k + 1]] - area[ticks[k]] == pytest.approx(record.beats.stroke_mL[k], abs=0.1)


def test_mean_pressure_is_what_flow_and_resistance_make() -> None:
    record = person_record(PERSON, STATE, EVEN, 1e-3, 60.0, 1)
    whole = round(60.0 / STATE.rate_per_min * 60 * 1e3)
    assert np.mean(record.aortic_mmHg[:whole]) == pytest.approx(STATE.mean_mmHg, abs=0.02)


def test_tone_is_cross_faded_between_its_ends() -> None:
    tone = np.concatenate([np.zeros(4000), np.ones(4001)])
    plain, cold = (person_record(PERSON, STATE._replace(tone=t), EVEN, 1e-3, 8.0, 1) for t in (0.0, 1.0))
    faded = person_record(PERSON, STATE, EVEN, 1e-3, 8.0, 1, toned(np.arange(8001) * 1e-3, tone))
    assert faded.finger_mmHg[:3900] == pytest.approx(plain.finger_mmHg[:3900])
    assert faded.finger_mmHg[4100:] == pytest.approx(cold.finger_mmHg[4100:])
    assert np.max(cold.finger_mmHg) > np.max(plain.finger_mmHg) + 1.0


def test_resistance_and_flow_make_the_mean_pressure_that_they_say() -> None:
    time = np.array([0.0, 30.0, 31.0, 90.0])
    course = Course(time, np.zeros(4), np.array([1.0, 1.0, 1.2, 1.2]), np.array([1.0, 1.0, 0.9, 0.9]))
    record = person_record(PERSON, STATE, EVEN, 5e-3, 90.0, 1, course)
    assert np.unique(np.round(record.beats.stroke_mL / STATE.stroke_mL, 6))[[0, -1]] == pytest.approx([0.9, 1.0])
    for begin, at in ((10.0, 0), (60.0, 3)):
        whole = slice(round(begin / 5e-3), round((begin + 24 * 60.0 / STATE.rate_per_min) / 5e-3))
        assert np.mean(record.aortic_mmHg[whole]) == pytest.approx(course.mean_mmHg(STATE)[at], abs=0.3)


def test_convolution_in_blocks_is_the_convolution() -> None:
    response = impulse_responses(PERSON, STATE)[0]
    flow = np.random.default_rng(1).standard_normal(40_000)
    ahead = 50
    whole = np.convolve(flow, np.roll(response, ahead))[ahead : ahead + len(flow)] / 200.0
    assert convolved(flow, response) == pytest.approx(whole, abs=1e-9)


def test_a_record_says_who_it_is_and_refuses_what_it_cannot() -> None:
    record = person_record(PERSON, STATE, EVEN, 5e-3, 2.0, 1)
    trace = record.trace("person:45f")
    assert "45-year-old woman" in trace.source and "invented" in trace.source and trace.duration_s == 2.0
    with pytest.raises(InputError, match="ticks of"):
        person_record(PERSON, STATE, EVEN, 0.5, 2.0, 1)
    with pytest.raises(InputError, match=r"Physiology.stroke_mL"):
        person_record(PERSON, STATE._replace(stroke_mL=1.0), EVEN, 1e-3, 2.0, 1)
