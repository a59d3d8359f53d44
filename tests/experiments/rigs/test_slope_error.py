"""What a search's light slope may be off by."""
from experiments.rigs.rig import built_in_rigs, load_rig
from experiments.rigs.slope_error import SLOPE_ERRORS, usual_slope_error


def test_every_built_in_rig_has_one_and_a_variant_takes_it():
    assert set(SLOPE_ERRORS) == set(built_in_rigs()) and all(0.0 < error < 0.3 for error in SLOPE_ERRORS.values())
    assert usual_slope_error(load_rig("cabinet", ["tube.length_m=0.5"])) == SLOPE_ERRORS["cabinet"]
