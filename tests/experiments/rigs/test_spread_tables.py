"""What a rig file says was left open is refused where it cannot be meant."""
import pytest

from experiments.rigs.rig import load_rig
from experiments.rigs.spread_tables import check_correlation, check_pairs, check_spread
from plant.errors import InputError

GOOD = '[spread]\n"valve.conductance" = 0.001\n"cuff.volume_mL" = 0.05\n[correlation]\n'


@pytest.mark.parametrize("spread", [3.0, {"valve": 1.0}, {"valve.x": -1.0}, {"lamp.x": 1.0}, {"valve.x": True}])
def test_spreads_are_positive_numbers_by_name(spread):
    with pytest.raises(InputError, match=r"^here: spread"):
        check_spread(spread, ("valve", "cuff"), "here")


@pytest.mark.parametrize("table", [
    3.0, {"a.b": 0.5}, {"a.b": {"c.d": 1.5}}, {"a.b": {"c.d": "x"}}, {"a.b": {"a.b": 0.5}},
    {"a.b": {"c.d": 0.5}, "c.d": {"a.b": 0.5}},
])
def test_correlations_are_shares_each_pair_once(table):
    with pytest.raises(InputError, match=r"^here: correlation"):
        check_correlation(table, "here")


def test_both_numbers_of_a_pair_have_a_spread(tmp_path):
    check_pairs({"spread": {"a.b": 1.0, "c.d": 1.0}, "correlation": {"a.b": {"c.d": 0.5}}}, "here")
    path = tmp_path / "own.toml"
    path.write_text(GOOD + '"cuff.volume_mL" = { "tube.length_m" = 0.5 }\n')
    with pytest.raises(InputError, match=r"correlation: tube.length_m is not in \[spread\]"):
        load_rig(str(path))
