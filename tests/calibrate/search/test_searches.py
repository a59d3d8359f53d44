"""The two staircase searches, on a finger by the law and on the wrist rig."""
import math
from collections.abc import Callable
from typing import Any

import pytest

from calibrate.protocol import Failed, Found, Hold, Instrument, Search
from calibrate.search.searches import ArctangentSearch, ClassroomSearch, LEAST_CUFF_mmHg
from experiments.rigs.rig import load_rig
from experiments.simulation.set_point import Calibration, calibrate
from plant.pressure.synthetic import SyntheticPressure, synthesise


def search(strategy: Search, systolic: float = 120.0, diastolic: float = 75.0) -> Calibration:
    params = SyntheticPressure(systolic_mmHg=systolic, diastolic_mmHg=diastolic)
    return calibrate(load_rig("wrist"), synthesise(params, 0.001, 20.0, 5), strategy)


@pytest.mark.parametrize(("systolic", "diastolic"), [(120.0, 75.0), (160.0, 95.0)])
def test_the_fit_beats_the_classroom_rule(systolic: float, diastolic: float) -> None:
    plain, fitted = (search(s, systolic, diastolic) for s in (ClassroomSearch(), ArctangentSearch()))
    assert isinstance(plain.outcome, Found) and isinstance(fitted.outcome, Found)
    assert abs(fitted.error_mmHg) < abs(plain.error_mmHg)
    assert abs(fitted.error_mmHg) < 6.0
    assert fitted.slope_ratio == pytest.approx(1.0, abs=0.5)


@pytest.mark.parametrize("changes", [
    {}, {"diastolic_mmHg": 110.0, "pulse_mmHg": 60.0}, {"width_mmHg": 25.0}, {"bright": 0.1}, {"depth": 0.02},
    {"beat_s": 0.4}, {"beat_s": 1.5},
], ids=str)
def test_on_a_finger_by_the_law_the_fit_is_nearly_right(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, changes: dict[str, float]
) -> None:
    own = finger._replace(noise=1e-5, **changes)
    found = drive(ArctangentSearch().search(instrument), own).outcome
    assert isinstance(found, Found)
    assert abs(own.error_mmHg(found.set_point)) < 1.5
    assert found.light_slope / found.set_point == pytest.approx(own.relative_slope, rel=0.2)
    assert found.width_mmHg == pytest.approx(own.width_mmHg, rel=0.2)


def test_the_classroom_rule_is_the_mean_light_of_its_best_step(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    """Its error follows from the law: between the steps, the mean of light is not the light of the unloaded artery."""
    run = drive(ClassroomSearch().search(instrument), finger)
    best = run.holds[-1]  # it ends there
    seen = next(s for s, r in zip(run.seen, run.asked, strict=True) if isinstance(r, Hold) and r.pressure_mmHg == best)
    assert run.outcome.set_point == pytest.approx(float(seen.light[400:].mean()), rel=1e-3)
    assert abs(finger.error_mmHg(run.outcome.set_point)) > 2.0


def test_the_fit_confirms_at_the_mean_pressure_that_it_names(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    run = drive(ArctangentSearch().search(instrument), finger)
    assert run.outcome.cuff_mmHg == pytest.approx(run.holds[-1], abs=0.5)
    assert finger.diastolic_mmHg < run.holds[-1] < finger.diastolic_mmHg + 0.5 * finger.pulse_mmHg
    low = drive(ArctangentSearch().search(instrument), finger._replace(diastolic_mmHg=4.0, pulse_mmHg=12.0))
    assert min(low.holds) >= LEAST_CUFF_mmHg


def test_the_sureness_of_a_fit_is_never_better_than_its_floor(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    sure, vague = (
        drive(ArctangentSearch().search(instrument), finger._replace(depth=0.03, noise=n)).outcome.sd_mmHg
        for n in (0.0, 3e-3))
    assert 1.0 < sure < vague < math.inf


@pytest.mark.parametrize("strategy", [ClassroomSearch(), ArctangentSearch()])
@pytest.mark.parametrize(("changes", "reason"), [
    ({"pulse_mmHg": 0.0, "noise": 1e-4}, "no pulse"), ({"first_fill": 2.0}, "cuff too loose"),
    ({"bright": 1.5}, "light saturated"), ({"diastolic_mmHg": 230.0, "pulse_mmHg": 50.0}, "pressure range exhausted"),
], ids=str)
def test_failures_come_through(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, strategy: Search, changes: dict[str, float],
    reason: str,
) -> None:
    outcome = drive(strategy.search(instrument), finger._replace(**changes)).outcome
    assert isinstance(outcome, Failed) and outcome.reason == reason


def test_a_pulsation_that_comes_and_goes_is_too_irregular(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    """A large pulse on the way up, next to none on the narrow steps between: no artery does that."""
    wide = finger._replace(diastolic_mmHg=45.0, pulse_mmHg=80.0)

    def fading(time_s: float) -> Any:
        return wide if time_s < 7.5 else wide._replace(depth=0.01)

    steady, faded = (drive(ArctangentSearch().search(instrument), f).outcome for f in (wide, fading))
    assert isinstance(steady, Found)
    assert isinstance(faded, Failed) and faded.reason == "too irregular"
