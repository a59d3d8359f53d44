import numpy as np
import pytest

from calibrate.level import LevelBudget, LevelLine
from experiments.readings.chain.chain import Servo, flow_parts, readings
from experiments.readings.fitted.store import shipped
from experiments.readings.output.estimators import ESTIMATORS, SHAPE
from experiments.readings.output.stroke import exponent
from experiments.readings.output.variation import variation
from plant.errors import InputError
from tests.experiments.readings.chain.one_reading import PERIOD_s, known, one_reading, record

NONE = np.zeros(len(record().finger_mmHg), np.uint8)


def test_a_perfect_clamp_reads_what_is_there() -> None:
    found, truth = one_reading()
    for name in ("finger systolic", "finger mean", "finger diastolic", "rate"):
        assert found.summary[name].value == pytest.approx(truth.values[name], abs=0.3), name
    for name in ("systolic", "mean", "diastolic"):
        assert found.summary[name].value == pytest.approx(truth.values[name], abs=4.0), name
    assert all(one.holds(truth.values[name]) for name, one in found.summary.items())


@pytest.mark.parametrize("name", [*ESTIMATORS, SHAPE])
def test_with_a_reference_output_is_right_and_narrow(name: str) -> None:
    free = readings(record().finger_mmHg - 5.0, PERIOD_s, NONE, known()._replace(estimator=name))
    told = readings(record().finger_mmHg - 5.0, PERIOD_s, NONE,
                    known()._replace(estimator=name, reference_mL=one_reading()[1].values["stroke volume"]))
    assert told.summary["stroke volume"].value == pytest.approx(one_reading()[1].values["stroke volume"], rel=1e-6)
    assert told.summary["output"].sd < free.summary["output"].sd


def test_an_interruption_is_nowhere_bridged() -> None:
    found, _ = one_reading(True)
    assert np.all(np.isnan(found.arm_wave_mmHg[5000:6000])) and np.all(np.isnan(found.finger_wave_mmHg[5000:6000]))
    assert "interruption" in found.stroke_variation.reason and one_reading()[0].stroke_variation.reason == ""
    cut = np.isnan(found.beats.interval_s)
    assert np.count_nonzero(cut) == 1 and np.all(np.isnan(found.stroke_mL[cut]))


def test_variation_follows_the_true_strokes_though_the_pulse_varies_less() -> None:
    """8.7 % true, 6.7 % of the pulse: a larger stroke also lasts longer, and the pulse grows by less than it."""
    found, truth = one_reading()
    counts = found.beats.counts & np.isfinite(truth.stroke_mL)
    true = variation(found.beats.onset_s, truth.stroke_mL, counts, known().ventilation)
    assert found.pulse_variation.fit_percent < 0.85 * true.fit_percent
    assert abs(found.stroke_variation.fit_percent - true.fit_percent) < 2.5 * found.stroke_variation.sd_percent


def test_by_a_tube_the_values_are_those_of_the_wave() -> None:
    law, truth = one_reading()
    tube = readings(record().finger_mmHg - 5.0, PERIOD_s, NONE, known()._replace(arm="tube"))
    counts = tube.beats.counts
    highest = [np.max(tube.arm_wave_mmHg[round(t / PERIOD_s) : round((t + d) / PERIOD_s)]) for t, d in
               zip(tube.beats.onset_s[counts], tube.beats.interval_s[counts], strict=True)]
    assert np.nanmean(tube.arm_mmHg[counts, 0]) == pytest.approx(np.mean(highest), abs=0.5)
    for name in ("systolic", "mean", "diastolic"):
        assert tube.summary[name].holds(truth.values[name])
        assert tube.summary[name].sd >= law.summary[name].sd
    assert np.isfinite(tube.level.value_mmHg)
    with pytest.raises(InputError, match="--arm filter: is one of law, tube"):
        readings(record().finger_mmHg, PERIOD_s, NONE, known()._replace(arm="filter"))


def test_wave_and_values_agree_by_the_law() -> None:
    found, _ = one_reading()
    kept = np.flatnonzero(found.beats.counts)[2:-2]
    highest = [np.max(found.arm_wave_mmHg[round(found.beats.onset_s[k] / PERIOD_s) : round(
        (found.beats.onset_s[k] + 0.4) / PERIOD_s)]) for k in kept]
    assert highest == pytest.approx(found.arm_mmHg[kept, 0], abs=0.5)


def test_the_level_and_the_servo_widen_what_they_bear_on() -> None:
    plain = one_reading()[0].summary
    loop = known()._replace(servo=Servo(8.0, 0.0, 1.0, 0.05))
    servo = readings(record().finger_mmHg - 5.0, PERIOD_s, NONE, loop).summary
    assert servo["systolic"].sd > plain["systolic"].sd and servo["mean"].sd == pytest.approx(plain["mean"].sd)
    assert servo["output"].sd > plain["output"].sd
    parts = {part.name for part in plain["output"].parts}
    assert {"estimator", "level", "beats", "servo"} <= parts
    blind = readings(record().finger_mmHg - 5.0, PERIOD_s, NONE, known()._replace(estimator="Herd")).summary["output"]
    assert "level" not in {part.name for part in blind.parts}


def test_the_exponent_for_change_makes_the_level_weigh_more() -> None:
    """Of Liljestrand–Zander by a third: what a change is read with, an error of the level is read with, too."""
    held = shipped()
    told = known()._replace(reference_mL=60.0)
    level = LevelBudget((LevelLine("p0", 0.0, 1.0, False),))
    beats = one_reading()[0].beats
    parts = {part.name: part.sd for part in flow_parts(told, held, beats, level, 0.0)}
    total = np.mean((beats.systolic_mmHg + beats.diastolic_mmHg)[beats.counts])
    steep = exponent(held.laws["Liljestrand–Zander"], told.wearer)
    assert 1.2 < steep < 1.5 and parts["level"] == pytest.approx(steep * 2.0 * level.changing_sd_mmHg / total)


def test_refusals() -> None:
    with pytest.raises(InputError, match="--estimator best"):
        readings(record().finger_mmHg, PERIOD_s, NONE, known()._replace(estimator="best"))
    with pytest.raises(InputError, match="less than 3 s of reading"):
        readings(record().finger_mmHg[:500], PERIOD_s, NONE[:500], known())
    with pytest.raises(InputError, match="0 beats count"):
        readings(np.full(3000, 90.0), PERIOD_s, NONE[:3000], known())
