"""What the sliders change: together they make the numbers that the rig itself would have there."""
import numpy as np
import pytest

from experiments.bench.offline.scene import (
    BEHIND,
    RUN_s,
    Turn,
    beginning,
    counted_of,
    modes,
    numbers_at,
    ready_at,
    runs_of,
    scene_of,
)
from experiments.check.check import run_tracking
from experiments.simulation.simulate import run_ready
from plant.errors import InputError
from tests.experiments.bench.offline.helper import scene, usual


@pytest.mark.parametrize("places", [(0, 0, 0), (20, 10, 8), (3, 7, 2), (14, 2, 6)])
def test_sliders_together_make_the_numbers_of_that_rig(places):
    found = scene()
    own = found.at(*(axis.usual for axis in found.axes))
    numbers = numbers_at(found.rig, found.trace, own)
    for axis, place in zip(found.axes, places, strict=True):
        numbers[list(axis.places)] = axis.rows[place]
    assert np.array_equal(numbers, numbers_at(found.rig, found.trace, found.at(*places)))


def test_the_rigs_own_values_are_among_them_and_no_two_sliders_touch_the_same():
    found = scene()
    assert found.at(*(axis.usual for axis in found.axes)) == Turn(
        found.rig.controller.kp, found.rig.timing.dead_time_s, 0.0)
    touched = [set(axis.places) for axis in found.axes]
    assert all(touched) and len(set.union(*touched)) == sum(map(len, touched))
    assert all(list(axis.values) == sorted(axis.values) for axis in found.axes)


def test_the_record_is_one_that_single_floats_hold():
    found = scene()
    values = found.trace.pressure_mmHg
    assert np.array_equal(values, values.astype(np.float32)) and len(values) == round(RUN_s / 1e-3) + 1
    assert np.max(np.abs(values - beginning(found.trace).pressure_mmHg)) == 0.0


def test_what_counts_is_what_a_run_counts():
    ready = usual()
    counted, beats = counted_of(ready)
    run = run_ready(ready)
    assert np.array_equal(counted, run.counted)
    assert len(beats) == run_tracking(run, harmonics=False).ideal_beats.beats > 0
    assert np.array_equal(np.repeat(*zip(*[(v, n) for n, v in modes(ready)], strict=True)), run.channels["mode"])


def test_runs_of_equal_values():
    assert runs_of(np.array([1, 1, 0, 2])) == [[2, 1], [1, 0], [1, 2]]


def test_what_the_rig_cannot_take_is_left_out_and_a_rig_that_cannot_clamp_says_so():
    found = scene()
    jittery = found.rig._replace(timing=found.rig.timing._replace(jitter_s=4e-4))
    made = scene_of(jittery, found.trace, found.pressures_mmHg)
    assert 0.00075 not in made.axes[1].values and 0.0005 in made.axes[1].values
    weak = found.rig.plant.supply._replace(pressure_mmHg=60.0)
    with pytest.raises(InputError):
        scene_of(found.rig._replace(plant=found.rig.plant._replace(supply=weak)), found.trace, found.pressures_mmHg)


def test_the_numbers_behind_are_what_the_run_is_asked():
    found = scene()
    turn = found.at(5, 8, 1)
    ready = ready_at(found.rig, found.trace, turn)
    behind = dict(zip(BEHIND, numbers_at(found.rig, found.trace, turn)[-len(BEHIND):], strict=True))
    assert behind == {"ring": ready.loop.clock.whole_ticks + 2, "fill_mmHg": ready.fill_mmHg,
                      "set_point": ready.set_point, "light_slope": ready.light_slope}
