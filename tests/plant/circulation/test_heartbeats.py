import numpy as np
import pytest

from plant.circulation.heartbeats import Rhythm, breath_phase, heartbeats
from plant.errors import InputError

EVEN = Rhythm(breath_volume=0.0, breath_interval=0.0, interval_sd=0.0)


def test_an_even_rhythm_is_even() -> None:
    beats = heartbeats(EVEN, 75.0, 70.0, -20.0, 60.0, 1)
    assert np.diff(beats.opening_s) == pytest.approx(0.8) and beats.stroke_mL == pytest.approx(70.0)
    assert beats.opening_s[0] <= -20.0 and beats.opening_s[-1] > 60.0 and not np.any(beats.ectopic)


def test_breath_swings_stroke_volume_by_its_amplitude() -> None:
    beats = heartbeats(EVEN._replace(breath_volume=0.05, breaths_per_min=12.5), 75.0, 70.0, 0.0, 300.0, 1)
    assert np.ptp(beats.stroke_mL) / 70.0 == pytest.approx(0.1, abs=0.01)


def test_apnoea_stops_the_breath_and_goes_on_where_it_stopped() -> None:
    held = EVEN._replace(breath_volume=0.05, apnoea_start_s=100.0, apnoea_s=30.0)
    beats = heartbeats(held, 75.0, 70.0, 0.0, 300.0, 1)
    at = beats.opening_s[:-1]
    inside = (at > 100.5) & (at < 129.0)
    assert np.ptp(beats.stroke_mL[inside]) < 1e-9 and np.ptp(beats.stroke_mL[at < 100.0]) > 5.0
    assert breath_phase(held, 99.999, 0.0)[0] == pytest.approx(breath_phase(held, 130.0, 0.0)[0], abs=0.01)


def test_early_beats_eject_little_and_are_made_up_for() -> None:
    beats = heartbeats(EVEN._replace(ectopic_share=0.1), 75.0, 70.0, 0.0, 300.0, 2)
    early = np.flatnonzero(beats.ectopic)
    early = early[early + 1 < len(beats.stroke_mL)]
    assert 15 < len(early) < 60
    assert np.all(beats.stroke_mL[early] < 50.0) and np.all(beats.stroke_mL[early + 1] > 70.0)
    interval = np.diff(beats.opening_s)
    assert interval[early - 1] + interval[early] == pytest.approx(1.6)


def test_an_irregular_rhythm_scatters_and_repeats_with_its_seed() -> None:
    wild = EVEN._replace(irregular=1.0)
    one, two = (heartbeats(wild, 90.0, 60.0, 0.0, 200.0, 5) for _ in range(2))
    assert np.array_equal(one.opening_s, two.opening_s)
    assert 0.15 < np.std(np.diff(one.opening_s)) / np.mean(np.diff(one.opening_s)) < 0.3
    assert np.std(one.stroke_mL) > 2.0


def test_a_rhythm_can_be_disturbed_for_a_while() -> None:
    wild = EVEN._replace(irregular=1.0, disturbed_start_s=50.0, disturbed_s=50.0)
    beats = heartbeats(wild, 75.0, 60.0, 0.0, 200.0, 5)
    interval, at = np.diff(beats.opening_s), beats.opening_s[:-1]
    assert np.std(interval[(at > 50.0) & (at < 99.0)]) > 0.1
    assert interval[(at < 50.0) | (at > 101.0)] == pytest.approx(0.8)


def test_refusals() -> None:
    with pytest.raises(InputError, match=r"Rhythm.ectopic_share = 2"):
        heartbeats(EVEN._replace(ectopic_share=2.0), 75.0, 70.0, 0.0, 10.0, 1)
    with pytest.raises(InputError, match="give an end after the start"):
        heartbeats(EVEN, 75.0, 70.0, 10.0, 0.0, 1)
