import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.declare import declared
from plant.errors import InputError
from plant.pressure.synthetic import (
    STEADY,
    LONGEST_BEAT_s,
    SHORTEST_BEAT_s,
    SyntheticPressure,
    beat_train,
    draw,
    synthesise,
    train_from_intervals,
)

rates = st.floats(30, 220)


def test_every_parameter_is_declared():
    assert all(p.unit and p.meaning and p.source and p.low is not None for p in declared(SyntheticPressure))


@given(rates, st.floats(70, 250), st.floats(30, 60), st.integers(0, 2**40))
@settings(max_examples=30, deadline=None)
def test_steady_beats_reach_the_wanted_pressures(rate, systolic, diastolic, seed):
    params = STEADY._replace(rate_per_min=rate, systolic_mmHg=systolic, diastolic_mmHg=diastolic)
    trace = synthesise(params, 1e-3, 8.0, seed)
    assert np.max(trace.pressure_mmHg) == pytest.approx(systolic, abs=0.01 * (systolic - diastolic) / 20)
    assert np.min(trace.pressure_mmHg) == pytest.approx(diastolic, abs=0.01 * (systolic - diastolic) / 20)
    assert len(trace.pressure_mmHg) == 8001 and trace.usable.all()


@given(rates)
@settings(max_examples=20, deadline=None)
def test_steady_onsets_are_the_minima_one_interval_apart(rate):
    params = STEADY._replace(rate_per_min=rate)
    pressure = synthesise(params, 1e-3, 8.0, 5).pressure_mmHg
    onsets = beat_train(params, 8.0, 5).onsets_within(8.0)
    assert np.diff(onsets) == pytest.approx(60.0 / rate, rel=1e-9)
    inner = onsets[(onsets > 0.1) & (onsets < 7.9)]
    for onset in inner:
        near = slice(round(1e3 * onset) - 60, round(1e3 * onset) + 61)
        assert np.argmin(pressure[near]) == pytest.approx(60, abs=1)


@given(
    rates, st.floats(0, 0.5), st.floats(0, 1), st.floats(0, 0.2), st.floats(0, 0.3), st.floats(0, 0.3),
    st.integers(0, 2**63 - 1),
)
@settings(max_examples=40, deadline=None)
def test_any_rhythm_is_smooth_finite_and_in_bounds(rate, ectopic, irregular, spread, sway, pulse, seed):
    params = SyntheticPressure(
        rate_per_min=rate, ectopic_share=ectopic, irregular=irregular, interval_sd=spread, respiration_interval=sway,
        respiration_pulse=pulse,
    )
    trace, train = synthesise(params, 1e-3, 20.0, seed), beat_train(params, 20.0, seed)
    intervals = np.diff(train.onset_s)
    assert np.all((intervals >= SHORTEST_BEAT_s - 1e-9) & (intervals <= LONGEST_BEAT_s + 1e-9))
    assert train.onset_s[0] <= 0.0 and train.onset_s[-1] >= 20.0
    assert np.all(train.peak_mmHg > train.foot_mmHg[:-1] + 4.0)
    assert np.all((trace.pressure_mmHg > 40) & (trace.pressure_mmHg < 170))
    assert np.max(np.abs(np.diff(trace.pressure_mmHg, 2))) < 0.2  # at 1 kHz a jump or corner would show here


def test_the_same_seed_gives_the_same_bits_and_another_one_others():
    params = SyntheticPressure(ectopic_share=0.1, irregular=0.5)
    first, again, other = (synthesise(params, 1e-3, 10.0, seed).pressure_mmHg for seed in (7, 7, 8))
    assert first.tobytes() == again.tobytes()
    assert np.max(np.abs(first - other)) > 5


def test_the_tick_does_not_change_the_pressure():
    params = SyntheticPressure()
    coarse, fine = synthesise(params, 4e-3, 10.0, 1), synthesise(params, 1e-3, 10.0, 1)
    assert coarse.pressure_mmHg == pytest.approx(fine.pressure_mmHg[::4], abs=1e-9)


def test_a_longer_trace_begins_like_a_shorter_one():
    params = SyntheticPressure(ectopic_share=0.1)
    short, long = synthesise(params, 1e-3, 10.0, 1), synthesise(params, 1e-3, 400.0, 1)
    assert long.pressure_mmHg[:9000] == pytest.approx(short.pressure_mmHg[:9000], abs=1e-9)


def test_premature_beats_come_early_small_and_are_made_up_for():
    params = STEADY._replace(ectopic_share=0.2)
    train = beat_train(params, 300.0, 3)
    early = np.flatnonzero(train.ectopic[1:-1]) + 1
    intervals, regular = np.diff(train.onset_s), 60.0 / 70.0
    assert 0.1 < len(early) / len(train.peak_mmHg) < 0.25
    assert np.all(np.diff(early) > 1)
    assert np.all(intervals[early - 1] < 0.76 * regular)
    assert intervals[early - 1] + intervals[early] == pytest.approx(2 * regular)  # compensatory pause
    pulse = train.peak_mmHg - train.foot_mmHg[:-1]
    assert np.all(pulse[early] < 0.65 * 45) and np.all(pulse[early[:-1] + 1] > 1.05 * 45)
    assert not beat_train(STEADY, 300.0, 3).ectopic.any()


def test_irregular_rhythm_has_the_spread_and_the_mean_that_it_says():
    """Gamma-distributed intervals of relative SD 0.24 about the mean; successive ones not related."""
    intervals = np.diff(beat_train(STEADY._replace(irregular=1.0), 4000.0, 2).onset_s)
    assert np.mean(intervals) == pytest.approx(60 / 70, rel=0.02)
    assert np.std(intervals) / np.mean(intervals) == pytest.approx(0.24, abs=0.01)
    assert abs(np.corrcoef(intervals[1:], intervals[:-1])[0, 1]) < 0.05


def test_given_intervals_are_kept():
    intervals = np.array([0.8, 0.9, 0.5, 1.2, 0.8])
    train = train_from_intervals(STEADY, intervals)
    assert np.diff(train.onset_s) == pytest.approx(intervals) and train.onset_s[0] == 0.0
    assert len(draw(STEADY, train, 1e-3, 4.2).pressure_mmHg) == 4201
    for wrong in (-1.0, 0.1, 5.0, np.nan):
        with pytest.raises(InputError, match=r"interval 1 = \S+ s is outside 0\.24 … 4 s"):
            train_from_intervals(STEADY, np.array([0.8, wrong]))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"rate_per_min": 20.0}, "rate_per_min = 20"),
        ({"rate_per_min": float("nan")}, "rate_per_min = nan"),
        ({"wave_Hz": 1.0}, "wave_Hz = 1 Hz"),
        ({"systolic_mmHg": 78.0}, "at least 5 mmHg above diastolic_mmHg = 75"),
    ],
)
def test_absurd_parameters(change, told):
    with pytest.raises(InputError) as caught:
        synthesise(SyntheticPressure()._replace(**change), 1e-3, 10.0, 1)
    assert told in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(("period", "seconds"), [(0.0, 10.0), (1e-3, 0.0), (1e-3, 1e6), (1e-3, float("nan"))])
def test_absurd_lengths(period, seconds):
    with pytest.raises(InputError):
        synthesise(STEADY, period, seconds, 1)


def test_a_longer_filling_makes_a_larger_pulse_and_a_longer_run_off_a_lower_foot():
    """Of 40 mmHg at a second: 0.6 of the relative change of the interval before, to 1.3 at most; the foot falls too."""
    steady = STEADY._replace(rate_per_min=60.0, systolic_mmHg=120.0, diastolic_mmHg=80.0)
    train = train_from_intervals(steady, np.array([1.0, 1.2, 1.0, 0.75, 1.0, 1.8, 1.0]))
    assert (train.peak_mmHg - 80.0) / 40.0 == pytest.approx([1.0, 1.0, 1.12, 1.0, 0.85, 1.0, 1.3])
    assert train.foot_mmHg[2] < 80.0 == train.foot_mmHg[1] and train.foot_mmHg[4] > 80.0


def test_onsets_within_a_trace_are_those_from_its_start():
    train = train_from_intervals(STEADY, np.full(10, 0.5))
    assert list(train.onsets_within(2.0)) == [0.0, 0.5, 1.0, 1.5, 2.0]
    early = train._replace(onset_s=train.onset_s - 0.75)
    assert list(early.onsets_within(1.0)) == [0.25, 0.75]


def test_pulses_sway_with_the_breath_of_the_pressure():
    """1 + a sin(2πft + φ) at each onset, in phase with the pressure's own swing: one breath moves both."""
    steady = STEADY._replace(respiration_pulse=0.1, respiration_mmHg=3.0)
    for seed in range(4):
        train = beat_train(steady, 60.0, seed)
        breath = 2.0 * np.pi * steady.respiration_per_min / 60.0 * train.onset_s[:-1] + train.respiration_phase
        pulse = steady.systolic_mmHg - steady.diastolic_mmHg
        assert (train.peak_mmHg - steady.diastolic_mmHg) / pulse == pytest.approx(1.0 + 0.1 * np.sin(breath))
