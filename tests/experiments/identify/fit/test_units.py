"""A recording in another unit is told by its size beside what the rig would have given."""
import pytest

from experiments.identify.fit.units import UNITS, check_units
from experiments.rigs.rig import load_rig
from plant.errors import InputError
from tests.experiments.identify.benches import pieces, problem, recorded


@pytest.fixture(scope="module")
def made():
    return problem("cabinet", recorded(load_rig("cabinet", ["valve.range_mmHg=360"]), pieces("cabinet", ("step",))))


def test_mmHg_passes(made):
    check_units(made._replace(free=()))


@pytest.mark.parametrize("unit", UNITS)
def test_others_do_not(made, unit):
    (one,) = made.recordings
    bad = one._replace(channels={"reading_mmHg": UNITS[unit] * one.channels["reading_mmHg"]})
    with pytest.raises(InputError, match=f"looks like {unit}; multiply by"):
        check_units(made._replace(free=(), recordings=(bad,)))
