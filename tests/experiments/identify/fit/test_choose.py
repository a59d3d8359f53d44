"""Which numbers are looked for."""
import pytest

from experiments.identify.fit.choose import ANCHOR, SCALES, free_for, names_for
from experiments.rigs.rig import load_rig
from plant.errors import InputError


def test_each_kind_of_rig_has_its_own():
    wrist, cabinet = load_rig("wrist"), load_rig("cabinet")
    assert "valve.dead_band" in names_for(wrist, ["valve"]) and "valve.range_mmHg" in names_for(cabinet, ["valve"])
    assert "valve.bleed_conductance" not in names_for(load_rig("wrist", ["valve.bleed_conductance=0"]), ["valve"])
    assert names_for(load_rig("wrist", ["tube.kind=none"]), ["tube"]) == []
    assert names_for(cabinet, ["valve.hysteresis", "tube"]) == ["valve.hysteresis", "tube.diameter_mm"]


def test_what_is_held_is_not_looked_for():
    names = [f.name for f in free_for(load_rig("cabinet"), ["cuff", "cuff.volume_mL", "supply"], [ANCHOR])]
    assert names == ["cuff.growth_mL", "supply.volume_mL", "supply.pump_flow_mL_s"] and ANCHOR in SCALES


def test_no_such_part():
    with pytest.raises(InputError, match="--free lamp"):
        names_for(load_rig("wrist"), ["lamp"])
