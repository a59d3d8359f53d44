"""A rig finds its own set point on a record, and the truth stands beside it."""
import numpy as np
import pytest

from calibrate.protocol import Failed, Found, Instrument, Plan, Vent
from calibrate.search.probing_search import ProbingSearch
from calibrate.search.searches import ClassroomSearch
from experiments.rigs.rig import clamp, load_rig
from experiments.simulation.coupled import CHANNELS
from experiments.simulation.session import COLUMN
from experiments.simulation.set_point import Calibration, calibrate, looped, seen_slope
from plant.finger.artery import half_width
from plant.pressure.beats import detect_beats
from plant.pressure.synthetic import STEADY, SyntheticPressure, synthesise

RECORD = synthesise(SyntheticPressure(), 0.001, 20.0, 3)


@pytest.fixture(scope="module")
def found() -> Calibration:
    return calibrate(load_rig("wrist"), RECORD, ProbingSearch())


def test_the_set_point_is_found_and_its_error_told(found: Calibration) -> None:
    assert isinstance(found.outcome, Found) and found.found is found.outcome
    assert abs(found.error_mmHg) < 1.5
    assert found.slope_ratio == pytest.approx(1.0, abs=0.06)
    assert 5.0 < found.first_waveform_s < 20.0 < found.search_s < 40.0
    assert found.highest_mmHg < 250.0


def test_the_slope_found_is_held_against_that_in_the_clamp(found: Calibration) -> None:
    """A tone that stays and a loop that follows: hardly another slope than the one at rest."""
    assert found.clamp_slope_ratio == pytest.approx(1.0, abs=0.1)
    assert found.clamp_slope_ratio == pytest.approx(found.slope_ratio, rel=0.1)
    assert found.clamp_slope_ratio != found.slope_ratio


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_the_slope_that_a_loop_sees(name: str) -> None:
    """At rest that of the operating point; over a swing of ± p1 about it π/4 of that, the mean of 1/(1 + u²)."""
    rig = load_rig(name, ["artery.collapse_ratio=1"])
    rig = rig._replace(plant=rig.plant._replace(tissue=rig.plant.tissue._replace(transmission=0.9)))
    point = clamp(rig, 95.0, 0.2)
    rows = np.zeros((2001, len(CHANNELS)))
    for channel, value in (("arterial_mmHg", 95.0), ("external_mmHg", point.state.external_mmHg),
                           ("area", point.area), ("venous_volume", point.state.venous_volume)):
        rows[:, COLUMN[channel]] = value
    tone = np.full(2001, 0.2)
    assert seen_slope(rows, rig, tone) == pytest.approx(point.light_slope, rel=1e-12)
    rows[:, COLUMN["external_mmHg"]] += np.linspace(-1.0, 1.0, 2001) * float(half_width(rig.plant.artery, 0.2))
    assert seen_slope(rows, rig, tone) == pytest.approx(np.pi / 4.0 * point.light_slope, rel=1e-3)


def test_the_classroom_rule_is_further_off(found: Calibration) -> None:
    plain = calibrate(load_rig("wrist"), RECORD, ClassroomSearch())
    assert abs(plain.error_mmHg) > 2.0 * abs(found.error_mmHg)
    assert plain.search_s < found.search_s


def test_without_a_pulse_the_failure_is_named() -> None:
    flat = RECORD._replace(pressure_mmHg=np.full_like(RECORD.pressure_mmHg, 60.0))
    calibration = calibrate(load_rig("wrist"), flat, ProbingSearch())
    assert isinstance(calibration.outcome, Failed) and calibration.outcome.reason == "no pulse"
    assert calibration.found is None and np.isnan(calibration.error_mmHg) and np.isnan(calibration.clamp_slope_ratio)


class Sleeper:
    """A search that never comes to an end."""

    def search(self, instrument: Instrument) -> Plan:
        while True:
            yield Vent(1.0)


def test_an_endless_search_times_out() -> None:
    calibration = calibrate(load_rig("wrist"), RECORD, Sleeper())
    assert isinstance(calibration.outcome, Failed) and calibration.outcome.reason == "timed out"
    assert np.isnan(calibration.first_waveform_s)


def test_a_looped_record_keeps_its_rhythm() -> None:
    """Steady beats played round are steady beats: no short or long one at the seam, no step in pressure."""
    steady = synthesise(STEADY, 0.001, 8.0, 1)
    long = looped(steady, 30_000)
    assert len(long) == 30_000
    intervals = np.diff(detect_beats(long, 0.001))
    assert np.ptp(intervals) <= 12
    assert np.max(np.abs(np.diff(long))) <= 1.05 * np.max(np.abs(np.diff(steady.pressure_mmHg)))


def test_a_record_without_beats_is_repeated_as_it_is() -> None:
    flat = RECORD._replace(pressure_mmHg=np.linspace(50.0, 60.0, len(RECORD.pressure_mmHg)))
    assert np.array_equal(looped(flat, 100), flat.pressure_mmHg[:100])
