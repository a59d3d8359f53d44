import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.errors import InputError
from plant.pressure.beats import BeatFinder, beat_values, detect_beats
from plant.pressure.events import HandRaised, Hypotension, LossOfPulse, apply
from plant.pressure.synthetic import STEADY, SyntheticPressure, beat_train, synthesise

DEFAULT = SyntheticPressure()


def found(params, seconds, seed, noise=0.0):
    """Detected and true onset times away from the ends [s]."""
    pressure = synthesise(params, 1e-3, seconds, seed).pressure_mmHg
    pressure = pressure + noise * np.random.default_rng(seed).standard_normal(len(pressure))
    detected = detect_beats(pressure, 1e-3) * 1e-3
    true = beat_train(params, seconds, seed).onset_s
    true = true[(true > 0.5) & (true < seconds - 0.5)]
    return detected[(detected > true[0] - 0.1) & (detected < true[-1] + 0.1)], true


@given(st.floats(30, 220), st.floats(20, 100), st.integers(0, 1000))
@settings(max_examples=25, deadline=None)
def test_clean_onsets_are_close(rate, pulse, seed):
    params = DEFAULT._replace(rate_per_min=rate, systolic_mmHg=70 + pulse, diastolic_mmHg=70.0)
    detected, true = found(params, 15.0, seed)
    assert len(detected) == len(true)
    assert np.max(np.abs(detected - true)) < 0.02


def test_detection_is_the_same_for_any_offset_and_nearly_any_gain():
    pressure = synthesise(DEFAULT, 1e-3, 20.0, 1).pressure_mmHg
    onsets = detect_beats(pressure, 1e-3)
    assert np.array_equal(detect_beats(pressure + 40.0, 1e-3), onsets)
    assert np.array_equal(detect_beats(2.5 * pressure, 1e-3), onsets)


@pytest.mark.parametrize("period", [0.2e-3, 0.5e-3, 2e-3, 4e-3, 1 / 124.945, 10e-3])
def test_any_sampling_rate(period):
    params = DEFAULT._replace(rate_per_min=100.0)
    detected = detect_beats(synthesise(params, period, 20.0, 3).pressure_mmHg, period) * period
    true = beat_train(params, 20.0, 3).onset_s
    detected, true = (t[(t > 0.5) & (t < 19.5)] for t in (detected, true))
    assert len(detected) == len(true) and np.max(np.abs(detected - true)) < 0.015


@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_no_beats_without_a_pulse(noise):
    trace = apply(synthesise(DEFAULT, 1e-3, 60.0, 1), LossOfPulse(10.0, 1.0, 20.0, 3.0, 20.0, 3.0))
    hiss = noise * np.random.default_rng(1).standard_normal(60_001)
    detected = detect_beats(trace.pressure_mmHg + hiss, 1e-3) * 1e-3
    true = beat_train(DEFAULT, 60.0, 1).onset_s
    assert not np.any((detected > 11.0) & (detected < 31.0))
    for start, end in ((0.5, 10.0), (33.5, 59.5)):
        here = [np.count_nonzero((t > start) & (t < end)) for t in (detected, true)]
        assert here[0] == here[1]


@given(st.floats(0, 3), st.floats(-40, 350), st.integers(0, 1000))
@settings(max_examples=20, deadline=None)
def test_no_beats_in_noise_waves_and_ramps(noise, level, seed):
    time = np.arange(20_000) * 1e-3
    pressure = level + 5 * np.sin(2 * np.pi * 0.25 * time) + 1.5 * time
    pressure += noise * np.random.default_rng(seed).standard_normal(20_000)
    assert len(detect_beats(pressure, 1e-3)) == 0


@pytest.mark.parametrize("event", [HandRaised(0.4, 10.0, 0.3, 5.0), Hypotension(40.0, 10.0, 5.0, 10.0, 10.0)])
def test_events_do_not_lose_or_add_beats(event):
    trace = apply(synthesise(DEFAULT, 1e-3, 50.0, 2), event)
    true = beat_train(DEFAULT, 50.0, 2).onset_s
    detected = detect_beats(trace.pressure_mmHg, 1e-3) * 1e-3
    detected, true = (t[(t > 0.5) & (t < 49.5)] for t in (detected, true))
    assert len(detected) == len(true) and np.max(np.abs(detected - true)) < 0.03


def test_values_of_a_beat_that_can_be_worked_out():
    """Half sines on 70 mmHg: top 70 + 50, area by duration 70 + 50·2/π, bottom 70."""
    phase = np.arange(5001) % 1000 / 1000.0
    values = beat_values(70 + 50 * np.sin(np.pi * phase), np.array([0, 1000, 2000, 3000]), 1e-3)
    assert values.systolic_mmHg == pytest.approx([120] * 3)
    assert values.diastolic_mmHg == pytest.approx([70] * 3)
    assert values.mean_mmHg == pytest.approx([70 + 100 / np.pi] * 3, abs=1e-4)


def test_values_follow_each_beat():
    params = DEFAULT._replace(respiration_mmHg=0.0, wave_mmHg=0.0, ectopic_share=0.2)
    trace, train = synthesise(params, 1e-3, 60.0, 4), beat_train(params, 60.0, 4)
    inside = train.onset_s > 0
    onsets = np.rint(train.onset_s[inside] * 1e3).astype(np.int64)
    onsets = onsets[onsets <= 60_000]
    values = beat_values(trace.pressure_mmHg, onsets, 1e-3)
    first = int(np.argmax(inside))
    count = len(onsets) - 1
    assert values.systolic_mmHg == pytest.approx(train.peak_mmHg[first : first + count], abs=0.1)
    feet = np.minimum(train.foot_mmHg[first:], np.append(train.foot_mmHg[first + 1 :], np.inf))[:count]
    assert values.diastolic_mmHg == pytest.approx(feet, abs=0.6)


def test_nothing_to_work_on():
    assert len(detect_beats(np.full(10, 90.0), 1e-3)) == 0 and len(detect_beats(np.empty(0), 1e-3)) == 0
    assert len(detect_beats(np.full(20_000, 90.0), 1e-3)) == 0
    for onsets in (np.empty(0, np.int64), np.array([5])):
        assert all(len(v) == 0 for v in beat_values(np.full(100, 90.0), onsets, 1e-3))
    with pytest.raises(InputError, match="sample 7 = nan"):
        detect_beats(np.where(np.arange(5000) == 7, np.nan, 90.0), 1e-3)


def test_steady_reference_counts_every_beat():
    detected, true = found(STEADY._replace(rate_per_min=72.0), 60.0, 9)
    assert len(detected) == len(true) == 71


@pytest.mark.parametrize("sizes", [[1], [7, 333], [5000], [40_000]])
def test_a_stream_gives_the_bits_of_the_whole(sizes):
    params = DEFAULT._replace(ectopic_share=0.1, rate_per_min=90.0)
    seconds = 30.0 if sizes == [1] else 90.0
    pressure = synthesise(params, 4e-3, seconds, 5).pressure_mmHg
    pressure = pressure + 1.0 * np.random.default_rng(1).standard_normal(len(pressure))
    finder, given_out, first = BeatFinder(4e-3), [], 0
    for k in range(len(pressure)):
        size = sizes[k % len(sizes)]
        if first >= len(pressure):
            break
        given_out.append(finder.push(pressure[first : first + size]))
        first += size
    assert np.array_equal(np.concatenate([*given_out, finder.finish()]), detect_beats(pressure, 4e-3))


def test_a_stream_gives_its_beats_in_time():
    pressure = synthesise(DEFAULT, 4e-3, 60.0, 5).pressure_mmHg
    whole, finder, seen = detect_beats(pressure, 4e-3), BeatFinder(4e-3), 0
    assert finder.latency_s < 10.0
    for last in range(0, len(pressure), 25):
        seen += len(finder.push(pressure[last : last + 25]))
        due = whole[whole < last + 25 - finder.latency_s / 4e-3]
        assert seen >= len(due)
    with pytest.raises(InputError, match="is not a finite number"):
        finder.push(np.array([90.0, np.nan]))
