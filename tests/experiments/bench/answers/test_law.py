"""Where a wrong set point lies on the artery's law."""
import pytest

from experiments.bench.answers.law import law_answer, offset_of
from experiments.bench.answers.strips import Target
from experiments.rigs.rig import load_rig
from plant.errors import InputError
from plant.finger.artery import static_area, unloaded_pressure


def test_a_volume_that_is_a_tenth_too_large_lies_on_the_law_at_a_tenth_more():
    rig = load_rig("wrist")
    head, curves = law_answer(rig, Target(volume_error=0.1))
    assert head["held_area"] == pytest.approx(1.1 * head["unloaded_area"], rel=1e-9)
    assert head["offset_mmHg"] > 0.0 and 0.0 < head["compliance_share"] < 1.0
    middle = len(curves["law_mmHg"]) // 2
    assert curves["law_area"][middle] == pytest.approx(head["unloaded_area"])


def test_without_an_error_it_is_the_unloaded_volume():
    rig = load_rig("wrist", ["tone.level=1.0"])
    head, _ = law_answer(rig, Target())
    assert head["offset_mmHg"] == pytest.approx(0.0, abs=1e-9) and head["compliance_share"] == pytest.approx(1.0)
    assert head["unloaded_mmHg"] == float(unloaded_pressure(rig.plant.artery, 1.0))
    assert head["held_area"] == pytest.approx(float(static_area(rig.plant.artery, head["held_mmHg"], 1.0)))


def test_a_volume_out_of_reach_is_refused():
    with pytest.raises(InputError):
        offset_of(load_rig("wrist"), Target(volume_error=-0.99))
