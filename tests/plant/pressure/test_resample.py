import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.interpolate import PchipInterpolator
from scipy.signal import resample_poly

from plant.pressure.resample import bridge, resample, widened

SAMPLES = np.arange(400.0)


def wave(frequency, place):
    return np.sin(2 * np.pi * frequency * place + 0.3)


@pytest.mark.parametrize("frequency", [0.02, 0.1, 0.25, 0.4])
def test_a_sine_below_the_band_edge_comes_back_at_any_place(frequency):
    """The sampling theorem, at places no grid shares; frequency in cycles per sample."""
    places = np.linspace(60.0, 340.0, 3331)
    found = resample(wave(frequency, SAMPLES), places)
    assert np.max(np.abs(found - wave(frequency, places))) < 2e-4


@pytest.mark.parametrize(("frequency", "passes"), [(0.03, True), (0.09, True), (0.16, False), (0.22, False)])
def test_what_a_coarser_grid_cannot_hold_does_not_fold_back(frequency, passes):
    """Taking every fourth sample, content above 1/8 cycle per sample must vanish, not alias."""
    places = np.arange(100.0, 300.0, 4.0)
    found = resample(wave(frequency, SAMPLES), places, 4.0)
    expected = wave(frequency, places) if passes else 0.0
    assert np.max(np.abs(found - expected)) < 1e-3


def test_agrees_with_scipy_at_a_whole_ratio():
    rng = np.random.default_rng(3)
    smooth = np.convolve(rng.standard_normal(700), np.hanning(15), mode="same")
    reference = resample_poly(smooth, 4, 1, window=("kaiser", 8.0))
    found = resample(smooth, np.arange(4 * 699) / 4.0)
    inner = slice(400, 2400)
    assert np.max(np.abs(found[inner] - reference[inner])) < 0.01 * np.ptp(smooth)


@given(st.floats(-50, 400), st.floats(0.1, 5.0), st.lists(st.floats(0, 49), min_size=1, max_size=8))
@settings(max_examples=25, deadline=None)
def test_constants_stay_and_lines_stay_lines_to_the_very_ends(level, spacing, places):
    places = np.array(places)
    assert resample(np.full(50, level), places, spacing) == pytest.approx(np.full(len(places), level), abs=1e-9)
    line = level + 2.0 * np.arange(50.0)
    assert resample(line, places, spacing) == pytest.approx(level + 2.0 * places, abs=1e-2)


def test_samples_themselves_are_kept():
    values = np.random.default_rng(1).uniform(60, 120, 300)
    assert resample(values, np.arange(300.0)) == pytest.approx(values, abs=1e-9)


@pytest.mark.parametrize("length", [2, 3, 10, 17])
def test_records_shorter_than_the_kernel(length):
    assert resample(np.arange(float(length)), np.array([0.0, 0.5, length - 1.0])) == pytest.approx(
        [0.0, 0.5, length - 1.0], abs=1e-3
    )


def test_long_results_do_not_depend_on_the_block():
    values = np.random.default_rng(2).uniform(60, 120, 9000)
    places = np.linspace(0.0, 8999.0, 70_001)
    whole = resample(values, places)
    assert np.array_equal(whole[65_000:66_000], resample(values, places[65_000:66_000]))


@given(hnp.arrays(float, 40, elements=st.floats(40, 180)), st.integers(4, 20), st.integers(1, 12))
@settings(max_examples=60, deadline=None)
def test_bridge_is_scipys_pchip(values, first, width):
    good = np.ones(40, bool)
    good[first : first + width] = False
    bridged = bridge(values, good)
    kept = np.flatnonzero(good)
    assert bridged == pytest.approx(PchipInterpolator(kept, values[kept])(np.arange(40)), abs=1e-9)
    assert np.array_equal(bridged[good], values[good])


def test_bridge_never_leaves_the_range_of_its_neighbours():
    values = np.array([80.0, 90.0, 500.0, -7.0, 70.0, 60.0])
    good = np.array([True, True, False, False, True, True])
    assert np.all((bridge(values, good)[2:4] <= 90.0) & (bridge(values, good)[2:4] >= 70.0))


def test_bridge_at_the_second_sample_and_the_last_but_one():
    values = np.array([80.0, 999.0, 84.0, 999.0, 88.0])
    good = np.array([True, False, True, False, True])
    assert bridge(values, good) == pytest.approx([80, 82, 84, 86, 88])


@given(hnp.arrays(bool, 30), st.integers(0, 40))
@settings(max_examples=60, deadline=None)
def test_widened_is_a_dilation(bad, reach):
    expected = [bool(np.any(bad[max(0, i - reach) : i + reach + 1])) for i in range(30)]
    assert widened(bad, reach).tolist() == expected
