import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.level import LevelKnown, level_budget, referred
from plant.units import hydrostatic_mmHg


def test_every_cause_has_a_line_of_its_own() -> None:
    budget = level_budget(LevelKnown(height_m=0.1, transmission=0.9), 80.0, 2.0, 1.0)
    lines = {line.name: line for line in budget.lines}
    assert lines["height"].value_mmHg == pytest.approx(hydrostatic_mmHg(0.1)) and lines["height"].value_mmHg > 7.0
    assert lines["transmission"].value_mmHg == pytest.approx(-8.0) and lines["finger to arm"].value_mmHg == 2.0
    assert lines["unloaded volume p0"].value_mmHg == 5.0 and lines["finger gradient"].sd_mmHg == 8.0


@given(st.floats(-20, 20), st.floats(0, 10), st.floats(-0.5, 0.5), st.floats(40, 150))
def test_values_add_and_spreads_add_as_squares(p0, sd, height, reading) -> None:
    budget = level_budget(LevelKnown(p0_mmHg=p0, p0_sd_mmHg=sd, height_m=height), reading)
    assert budget.value_mmHg == pytest.approx(p0 + hydrostatic_mmHg(height), abs=1e-9)
    assert budget.sd_mmHg == pytest.approx(math.sqrt(sum(x.sd_mmHg**2 for x in budget.lines)))
    assert budget.changing_sd_mmHg < budget.sd_mmHg


def test_a_clamp_at_the_unloaded_volume_is_put_right() -> None:
    arterial, p0, eta = 95.0, 6.0, 0.95
    reading = (arterial - p0) / eta
    known = LevelKnown(p0_mmHg=p0, transmission=eta)
    assert reading + level_budget(known, reading).value_mmHg == pytest.approx(arterial)


def test_a_cuff_takes_the_place_of_all_other_spreads() -> None:
    plain = level_budget(LevelKnown(), 80.0)
    told = referred(plain, 4.0, 2.5)
    assert told.value_mmHg == pytest.approx(plain.value_mmHg + 4.0) and told.sd_mmHg == pytest.approx(2.5)
    assert told.lines[-1].name == "cuff reference" and len(told.lines) == len(plain.lines) + 1
