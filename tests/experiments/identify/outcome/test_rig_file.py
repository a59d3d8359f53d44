"""The rig file holds what was identified and no more, and is read again."""
import numpy as np
import pytest

from experiments.identify.outcome.rig_file import draws, rig_found, rig_text, rounded, told, with_values
from experiments.rigs.rig import load_rig, read_rig
from plant.errors import InputError
from tests.experiments.identify.outcome.accounts import account


def test_it_is_read_again(tmp_path):
    """Values to the second digit of their uncertainty; all others are the base's; the spread stands beside."""
    one = account()
    path = tmp_path / "found.toml"
    path.write_text(rig_text(one.found, one.source, one.name, one.hashes))
    rig, exact = load_rig(str(path)), rig_found(one.source, one.found)
    for number in one.found.found:
        table, _, key = number.free.name.partition(".")
        place = rig.timing if table == "timing" else getattr(rig.plant, table)
        assert abs(getattr(place, key) - number.value) <= 0.06 * number.sd
        assert rig.tables["spread"][number.free.name] == pytest.approx(number.sd, rel=0.01)
    assert exact.plant.cuff.volume_mL == 2.6 == rig.plant.cuff.volume_mL
    assert rig.controller == load_rig("cabinet").controller and rig.plant.artery == load_rig("cabinet").plant.artery
    assert "click.csv  sha256 abab" in path.read_text() and rig.base == "cabinet"


def test_what_is_not_told_stays_the_bases(tmp_path):
    one = account()
    first = one.found.found[0]
    found = one.found._replace(found=(first._replace(told=False), *one.found.found[1:]))
    text = rig_text(found, one.source, "found", {})
    assert "natural_frequency_Hz" not in text and len(told(found)) == len(found.found) - 1
    assert rig_found(one.source, found).plant.valve.natural_frequency_Hz == 100.0


def test_a_base_that_is_a_file_keeps_what_it_has(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('base = "cabinet"\n[tube]\nlength_m = 0.8\n[controller]\nkp = 0.003\n')
    one = account()
    path = tmp_path / "found.toml"
    path.write_text(rig_text(one.found, read_rig(str(own)), "found", {}))
    rig = load_rig(str(path))
    assert rig.plant.tube.length_m == 0.8 and rig.controller.kp == 0.003
    assert rig.plant.valve.natural_frequency_Hz > 110.0


def test_draws_follow_the_joint_uncertainty():
    """Outlet resistance and volume move against each other, the range hardly moves."""
    found = draws(account().found, 400, 1)
    volume, outlet, top = (np.log([one[name] for one in found]) for name in (
        "cuff.volume_mL", "valve.outlet_resistance_mmHg_s_mL", "valve.range_mmHg"))
    assert 0.016 < np.std(volume) < 0.024 and np.corrcoef(volume, outlet)[0, 1] < -0.9 and np.std(top) < 1e-3


def test_rounding():
    assert rounded(114.4083, 0.268) == 114.41 and rounded(0.00112936, 1.3e-6) == 0.0011294
    assert rounded(1.23456, 0.0) == 1.23456
    assert with_values(read_rig("cabinet"), ["tube.length_m"], [0.9]).rig().plant.tube.length_m == 0.9


@pytest.mark.parametrize("line", ['"valve" = 1.0', '"valve.x" = -1.0', '"lamp.x" = 1.0', '"valve.x" = "a"'])
def test_a_bad_spread_is_refused(tmp_path, line):
    path = tmp_path / "bad.toml"
    path.write_text(f"[spread]\n{line}\n")
    with pytest.raises(InputError, match="spread"):
        load_rig(str(path))
