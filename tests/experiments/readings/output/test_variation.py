import math

import numpy as np
import pytest

from experiments.readings.output.variation import (
    Ventilation,
    breath_Hz,
    fit_percent,
    floor_percent,
    peak_percent,
    scaled,
    variation,
)

KNOWN = Ventilation(True, 8.0)


def beats(percent=10.0, noise=0.0, seconds=60.0, interval=0.8, rate=0.25, seed=1):
    time = np.arange(0.0, seconds, interval)
    values = 45.0 * (1.0 + 0.005 * percent * np.sin(2 * np.pi * rate * time + 0.7))
    return time, values + noise * np.random.default_rng(seed).standard_normal(len(time))


@pytest.mark.parametrize("percent", [5.0, 10.0, 15.0, 20.0])
def test_the_fit_is_within_half_a_point_with_the_noise_of_a_rig(percent: float) -> None:
    time, values = beats(percent, 0.14)
    found = variation(time, values, np.ones(len(time), bool), KNOWN)
    assert found.fit_percent == pytest.approx(percent, abs=0.5) and found.reason == ""
    assert found.breaths_per_min == pytest.approx(15.0, abs=0.3)


def test_without_variation_the_fit_reads_less_than_peak_to_trough() -> None:
    fits, peaks = [], []
    for seed in range(40):
        time, values = beats(0.0, 0.25, 12.0, seed=seed)
        fits.append(fit_percent(time, values, 0.25)[0])
        peaks.append(peak_percent(time, values, 0.25))
    assert np.mean(fits) < 0.5 < np.mean(peaks)
    assert np.mean(peaks) == pytest.approx(floor_percent(0.25 / 45.0, 5.0), rel=0.15)


def test_floor_is_the_mean_range_of_normal_values() -> None:
    """d₂ of 2, 4, 5: 1.128, 2.059, 2.326 (Tippett 1925, textbook table)."""
    assert [floor_percent(0.01, n) for n in (2, 4, 5)] == pytest.approx([1.128, 2.059, 2.326], abs=1e-3)


def test_the_breath_is_found() -> None:
    for rate in (0.15, 0.2, 0.33):
        assert breath_Hz(*beats(8.0, 0.1, rate=rate)) == pytest.approx(rate, abs=0.005)


@pytest.mark.parametrize(("known", "seconds", "reason"), [
    (Ventilation(), 60.0, "not known to be ventilated"), (Ventilation(True, 6.0), 60.0, "tidal volume"),
    (Ventilation(True), 60.0, "tidal volume"), (Ventilation(True, 8.0, False), 60.0, "open chest"),
    (Ventilation(True, 8.0, True, 15.0), 9.0, "fewer than three breaths"),
    (Ventilation(True, 8.0, True, 30.0), 60.0, "too few beats a breath"),
])
def test_each_condition_is_a_reason(known: Ventilation, seconds: float, reason: str) -> None:
    time, values = beats(seconds=seconds)
    assert reason in variation(time, values, np.ones(len(time), bool), known).reason


def test_rhythm_gaps_and_too_little() -> None:
    time, values = beats()
    wild = np.cumsum(np.random.default_rng(1).uniform(0.4, 1.3, len(time)))
    assert variation(wild, values, np.ones(len(time), bool), KNOWN).reason == "irregular rhythm"
    assert "interruption" in variation(time, values, np.ones(len(time), bool), KNOWN, True).reason
    few = variation(time[:5], values[:5], np.ones(5, bool), KNOWN)
    assert few.reason == "too few beats" and math.isnan(few.fit_percent)


def test_a_gain_scales_and_what_it_leaves_widens() -> None:
    time, values = beats(10.0, 0.3)
    plain = variation(time, values, np.ones(len(time), bool), KNOWN)
    found = scaled(plain, 1.2, 0.1)
    assert found.fit_percent == pytest.approx(1.2 * plain.fit_percent) and found.reason == plain.reason
    assert found.peak_percent == pytest.approx(1.2 * plain.peak_percent)
    assert found.sd_percent == pytest.approx(math.hypot(1.2 * plain.sd_percent, 0.12 * plain.fit_percent))
