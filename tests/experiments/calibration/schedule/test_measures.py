"""Figures of a schedule against traces made by hand, where every figure is known beforehand."""
import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.calibration.schedule.measures import (
    METRIC,
    METRICS,
    BeatLog,
    BIN_s,
    Reference,
    longest_run,
    recoveries_s,
    reference,
)
from plant.finger.artery import Artery, unloaded_pressure
from plant.pressure.beats import detect_beats
from plant.pressure.synthetic import SyntheticPressure, synthesise

PERIOD_s = 1e-3
ARTERY = Artery()


@pytest.fixture(scope="module")
def pressure():
    return synthesise(SyntheticPressure(), PERIOD_s, 60.0, 3).pressure_mmHg[:-1]


@pytest.fixture(scope="module")
def tone(pressure):
    return np.linspace(-0.5, 1.0, len(pressure))


@pytest.fixture(scope="module")
def ideal(pressure, tone):
    """A perfect clamp at the unloaded volume under a cuff that passes on nine tenths of its pressure."""
    return (pressure - (ARTERY.unloaded_mmHg + ARTERY.tone_shift_mmHg * tone)) / 0.9


@pytest.fixture(scope="module")
def true(pressure, tone):
    return reference(pressure, tone, ARTERY, 0.9, PERIOD_s)


def logged(true, shown, cut=5000):
    """A log of a waveform, nan where there is none, given in pieces that are whole or not at all."""
    log = BeatLog(true, PERIOD_s)
    edges = sorted({*range(0, len(shown), cut), len(shown), *(np.flatnonzero(np.diff(np.isfinite(shown))) + 1)})
    for first, end in itertools.pairwise(edges):
        log.add(shown[first:end], float(np.nanmax(shown[first:end], initial=0.0)))
    return log


def figures(log, marks=(), diary=None):
    return dict(zip(METRIC, log.figures(list(marks), diary or {}), strict=True))


def test_every_metric_has_a_name_of_its_own_and_a_unit():
    assert len(METRIC) == len(METRICS) and {m.unit for m in METRICS} == {"mmHg", "1", "s"}


def test_a_perfect_clamp_has_no_error(true, ideal):
    found = figures(logged(true, ideal))
    for value in ("systolic", "mean", "diastolic"):
        assert found[f"{value}_bias_ideal"] == pytest.approx(0.0, abs=1e-9)
        assert found[f"{value}_sd_ideal"] == pytest.approx(0.0, abs=1e-9)
    assert found["mean_rms_ideal"] == pytest.approx(0.0, abs=1e-9)
    assert found["lost_share"] == 0.0 and found["interruptions"] == 0.0 and found["first_waveform"] == 0.0
    assert found["longest_large"] == 0.0 and found["large_share"] == 0.0 and math.isnan(found["recovery"])
    assert found["beats"] == len(true.onsets) - 1 and found["highest_cuff"] == pytest.approx(np.max(ideal))


def test_the_ideal_is_what_the_law_of_the_artery_says(tone):
    """p0 moves with tone as `plant.artery` has it."""
    law = np.asarray(unloaded_pressure(ARTERY, tone))
    np.testing.assert_allclose(law, ARTERY.unloaded_mmHg + ARTERY.tone_shift_mmHg * tone)


def test_an_offset_is_bias_without_spread(true, ideal):
    found = figures(logged(true, ideal + 3.0))
    for value in ("systolic", "mean", "diastolic"):
        assert found[f"{value}_bias_ideal"] == pytest.approx(3.0) and found[f"{value}_sd_ideal"] < 1e-9
    assert found["mean_rms_ideal"] == pytest.approx(3.0)


def test_errors_by_beat_are_those_of_each_beat_taken_alone(true, ideal, pressure):
    """Systolic, mean and diastolic straight from the samples of each beat; against the artery as well."""
    rng = np.random.default_rng(4)
    shown = 0.8 * ideal + 20.0 + np.convolve(rng.normal(size=len(ideal)), np.full(3000, 0.05), "same")
    found = figures(logged(true, shown, 700))
    onsets = detect_beats(pressure, PERIOD_s)
    for against, right in (("ideal", ideal), ("arterial", pressure)):
        errors = [[how(shown[a:b]) - how(right[a:b]) for how in (np.max, np.mean, np.min)]
                  for a, b in itertools.pairwise(onsets)]
        for value, column in zip(("systolic", "mean", "diastolic"), np.transpose(errors), strict=True):
            assert found[f"{value}_bias_{against}"] == pytest.approx(np.mean(column))
            assert found[f"{value}_sd_{against}"] == pytest.approx(np.std(column, ddof=1))
        rms = np.sqrt(np.mean(np.square(np.transpose(errors)[1])))
        assert found[f"mean_rms_{against}"] == pytest.approx(rms)


def test_time_without_waveform_is_lost_and_holds_no_error(true, ideal):
    """Nothing for 10 s, a gap of 4 s, a gap of 1 s; a piece of 1.5 s between two gaps is a blink and lost as well."""
    shown = ideal + 0.0
    for first, end in ((0, 10_000), (20_000, 24_000), (30_000, 31_000), (40_000, 41_000), (42_500, 43_500)):
        shown[first:end] = np.nan
    shown[41_000:42_500] += 50.0
    found = figures(logged(true, shown))
    lost = 10_000 + 4000 + 1000 + 3500
    assert found["lost_share"] == pytest.approx(lost / len(shown))
    assert found["interruptions"] == 3.0 and found["first_waveform"] == 10.0
    assert found["mean_rms_ideal"] == pytest.approx(0.0, abs=1e-9)
    whole = [np.all(np.isfinite(shown[a:b])) and not a < 42_500 < b and not 41_000 <= a < 42_500
             for a, b in zip(true.onsets, true.onsets[1:], strict=False)]
    assert found["beats"] == sum(whole)


def test_a_waveform_that_ends_early_is_one_more_interruption(true, ideal):
    log = BeatLog(true, PERIOD_s)
    log.add(ideal[:30_000], 100.0)
    log.pass_time(len(ideal))
    found = figures(log)
    assert found["interruptions"] == 1.0 and found["lost_share"] == pytest.approx(1.0 - 30_000 / len(ideal))
    assert found["seconds"] == pytest.approx(len(ideal) * PERIOD_s)


def test_nothing_shown_at_all(true, ideal):
    found = figures(logged(true, np.full(len(ideal), np.nan)), [10.0], {"search": 0, "failures": 3})
    assert found["lost_share"] == 1.0 and found["beats"] == 0.0 and found["failures"] == 3.0
    assert math.isnan(found["mean_rms_ideal"]) and math.isnan(found["first_waveform"])


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(1, 59_999), max_size=12))
def test_pieces_do_not_matter(true, ideal, cuts):
    """However the waveform comes in, the figures are those of the whole."""
    shown = 0.9 * ideal + 4.0
    shown[25_000:28_000] = np.nan
    log = BeatLog(true, PERIOD_s)
    edges = sorted({0, 25_000, 28_000, len(shown), *cuts})
    for first, end in itertools.pairwise(edges):
        log.add(shown[first:end], 0.0)
    whole = logged(true, shown, 10**9)
    for name in ("mean_rms_ideal", "systolic_bias_ideal", "diastolic_sd_ideal", "lost_share", "interruptions"):
        assert figures(log)[name] == pytest.approx(figures(whole)[name])


def test_the_longest_large_run():
    """Seconds of beats; a gap in the waveform neither ends a run nor adds to it, for only beats shown are listed."""
    lasts = np.array([1.0, 0.5, 0.7, 0.8, 1.1, 0.9])
    large = np.array([True, True, False, True, True, True])
    assert longest_run(large, lasts) == pytest.approx(2.8)
    assert longest_run(~large, lasts) == pytest.approx(0.7)
    assert longest_run(np.zeros(6, bool), lasts) == 0.0 and longest_run(np.zeros(0, bool), np.zeros(0)) == 0.0


def wrong_between(*spans):
    """One beat a second for 300 s, wrong in these spans [s]."""
    time = np.arange(300.0)
    return time, np.array([any(a <= t < b for a, b in spans) for t in time])


@pytest.mark.parametrize(("spans", "marks", "expected"), [
    ([], [100.0], [(0.0, True)]),  # never wrong
    ([(100, 120)], [100.0], [(20.0, True)]),
    ([(110, 120)], [100.0], [(20.0, True)]),  # it went wrong later: the way back still counts from the event
    ([(100, 105), (125, 130)], [100.0], [(30.0, True)]),  # right for 20 s does not count as back
    ([(100, 105), (140, 145)], [100.0], [(5.0, True)]),  # right for 35 s does
    ([(100, 290)], [100.0], [(200.0, False)]),  # right for 10 s at the end
    ([(20, 40)], [100.0], [(0.0, True)]),  # before anything happened
    ([(100, 300)], [100.0, 200.0], [(100.0, False), (100.0, False)]),
    ([(150, 160), (210, 215)], [100.0, 200.0], [(60.0, True), (15.0, True)]),
    ([(100, 120)], [], []),
])
def test_recovery(spans, marks, expected):
    """Until the error is small and stays so for 30 s, each event until the next one."""
    time, wrong = wrong_between(*spans)
    assert recoveries_s(time, wrong, marks, 300.0) == expected


def test_without_a_beat_shown_nothing_recovers():
    assert recoveries_s(np.arange(50.0), np.zeros(50, bool), [100.0], 300.0) == [(200.0, False)]


def test_recovery_of_a_trace(true, ideal):
    """An error of 8 mmHg that comes 2 s after the event and is gone 10 s later."""
    shown = ideal + 0.0
    shown[12_000:22_000] += 8.0
    found = figures(logged(true, shown), [10.0])
    first = true.onsets[np.searchsorted(true.onsets, 22_000)] * PERIOD_s
    assert found["recovery"] == pytest.approx(first - 10.0, abs=1.0) and found["unrecovered"] == 0.0
    assert found["longest_large"] == pytest.approx(10.0, abs=1.5)
    assert found["large_share"] == pytest.approx(10.0 / 60.0, abs=0.03)
    assert figures(logged(true, ideal + 8.0), [10.0])["unrecovered"] == 1.0


def test_the_course_in_bins(true, ideal, tone):
    shown = ideal + 2.0
    shown[:7500] = np.nan
    error, share, level = logged(true, shown).course(tone)
    assert len(error) == 60.0 / BIN_s
    assert math.isnan(error[0]) and error[3:11] == pytest.approx(2.0)
    assert share[:3] == pytest.approx([0.0, 0.5, 1.0])
    assert level[4] == pytest.approx(tone[22_500], abs=1e-3)


def test_a_pressure_without_beats_has_no_reference():
    flat = reference(np.full(5000, 20.0), np.zeros(5000), ARTERY, 1.0, PERIOD_s)
    assert isinstance(flat, Reference) and len(flat.onsets) == 0 and flat.ideal.shape == (0, 3)
    log = BeatLog(flat, PERIOD_s)
    log.add(np.full(5000, 20.0), 20.0)
    assert figures(log)["beats"] == 0.0 and figures(log)["lost_share"] == 0.0
