"""Candidates change what is named and what follows from it, within bounds."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.identify.replay.candidates import Free, bench_of, candidate, free_of, pneumatics_of, value_of
from experiments.rigs.rig import load_rig
from plant.errors import InputError


def test_losses_of_a_tube_follow_its_bore():
    """As a rig file with that bore would have them."""
    bench = bench_of(load_rig("cabinet"))
    own = candidate(bench, ("tube.diameter_mm",), (2.2,)).pneumatics
    assert own == pneumatics_of(load_rig("cabinet", ["tube.diameter_mm=2.2"]))
    given_loss = candidate(bench_of(load_rig("cabinet", ["tube.loss_factor=1.5"])), ("tube.diameter_mm",), (2.2,))
    assert given_loss.pneumatics.tube.loss_factor == 1.5


def test_dead_time_is_beside_the_pneumatics():
    rig = load_rig("cabinet")
    found = candidate(bench_of(rig), ("timing.dead_time_s",), (0.002,))
    assert found.dead_time_s == 0.002 and found.pneumatics == pneumatics_of(rig)
    assert value_of(rig, "timing.dead_time_s") == 0.001 and value_of(rig, "cuff.volume_mL") == 2.5


@given(st.floats(0.0, 1.0), st.booleans())
def test_there_and_back(share, logarithmic):
    free = Free("a", "1", 0.5, 40.0, logarithmic)
    value = 0.5 + share * 39.5
    assert free.outside(free.inside(value)) == pytest.approx(value, rel=1e-12)
    step = 1e-6
    slope = (free.outside(free.inside(value) + step) - free.outside(free.inside(value) - step)) / (2.0 * step)
    if 0.5001 < value < 39.99:
        assert free.slope(value) == pytest.approx(slope, rel=1e-4)


def test_a_value_stays_inside():
    free = free_of(load_rig("wrist"), "valve.dead_band")
    assert free.logarithmic and free.outside(99.0) == free.high and free.outside(-99.0) == free.low


@pytest.mark.parametrize("name", ["valve.nothing", "light.emitter", "tube.sections", "valve.kind", "volume", "cuff."])
def test_what_is_no_number_of_the_pneumatics(name):
    with pytest.raises(InputError, match="--free"):
        free_of(load_rig("wrist"), name)


def test_a_number_that_is_zero_moves_by_its_range():
    free = free_of(load_rig("wrist"), "valve.hysteresis")
    assert not free.logarithmic and free.inside(0.0) == 0.0 and np.isclose(free.outside(0.5), 0.15)
