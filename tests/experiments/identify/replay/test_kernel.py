"""The replay: single runs and lanes have the same bits, dead time is exact, and it is the plant that runs."""
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from experiments.identify.replay.candidates import bench_of, candidate, pneumatics_of
from experiments.identify.replay.kernel import (
    Candidate,
    Drive,
    Fields,
    fastest_rate,
    replay,
    started,
    steps_for,
)
from experiments.rigs.rig import load_rig
from plant.assembly import Course, Surroundings, Switchover, initial_state, plant_tick
from plant.numerics.layout import leaves, restored
from plant.pneumatics.assembly import pneumatic_rates

COMMAND = np.concatenate([np.zeros(20), np.full(60, 0.3), np.full(60, 0.1), np.full(60, 0.5)])


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_a_lane_has_the_bits_of_its_single_run(name):
    bench = bench_of(load_rig(name))
    many = [candidate(bench, ("timing.dead_time_s",), (1e-3 + 7e-5 * i,)) for i in range(19)]
    drive = Drive(COMMAND, 2e-4, 3)
    together = replay(many, drive, ("reading_mmHg", "node_mmHg", "cuff_mmHg", "supply_mmHg", "flow_mL_s"))
    for i in (0, 5, 18):
        alone = replay([many[i]], drive, tuple(together))
        for channel, values in together.items():
            assert np.array_equal(values[:, i], alone[channel][:, 0])


def test_whole_ticks_of_dead_time_are_a_shift():
    """And the course is continuous across the border of a tick."""
    pneumatics = pneumatics_of(load_rig("cabinet"))
    dead = np.array([0.0, 4e-4, 6e-4 - 1e-11, 6e-4 + 1e-11])
    found = replay([Candidate(pneumatics, float(d)) for d in dead], Drive(COMMAND, 2e-4, 4))["reading_mmHg"]
    assert np.array_equal(found[2:, 1], found[:-2, 0])
    assert np.max(np.abs(found[:, 2] - found[:, 3])) < 1e-4


def test_a_library_solver_agrees():
    """Same rates, SciPy's integrator, over one step of the command."""
    pneumatics = pneumatics_of(load_rig("cabinet"))
    drive = Drive(np.full(100, 0.4), 2e-4, 8)
    state = started(pneumatics, drive)
    state = state._replace(valve=type(state.valve)(0.0, 0.0))

    def rates(_, values):
        return [v for _, v in leaves(pneumatic_rates(pneumatics, restored(state, values), 0.4))]

    times = np.arange(100) * 2e-4
    truth = solve_ivp(rates, (0.0, times[-1]), [v for _, v in leaves(state)], t_eval=times, rtol=1e-9, atol=1e-9).y[-1]
    command = np.concatenate([[0.0], np.full(100, 0.4)])
    found = replay([Candidate(pneumatics, 0.0)], Drive(command, 2e-4, 8))["reading_mmHg"][1:, 0]
    assert np.max(np.abs(found - truth)) < 2e-3


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_it_is_the_plant_that_runs(name):
    """Tick after tick the whole plant, with a finger in the cuff, has the same pressures to the last bit."""
    rig = load_rig(name)
    around = Surroundings(90.0, 0.0, 0.0)
    state, before, seen = initial_state(rig.plant, around), 0.0, []
    for command in COMMAND[:60]:
        seen.append((state.reading_mmHg, state.cuff_mmHg, state.supply_mmHg))
        change = Switchover(before, float(command), 0.5)
        state = plant_tick(rig.plant, state, Course(around, around), change, 4, 1e-3)
        before = float(command)
    drive = Drive(COMMAND[:60], 1e-3, 4)
    one = Candidate(pneumatics_of(rig), 0.0005)
    found = replay([one], drive, ("reading_mmHg", "cuff_mmHg", "supply_mmHg"))
    assert np.array_equal(np.array(seen), np.column_stack([found[name][:, 0] for name in found]))


def test_it_starts_where_it_is_told():
    pneumatics = pneumatics_of(load_rig("cabinet"))
    drive = Drive(np.full(50, 0.2), 2e-4, 2, start_mmHg=60.0)
    assert started(pneumatics, drive).cuff_mmHg == 60.0
    found = replay([Candidate(pneumatics, 0.0)], drive)["reading_mmHg"][:, 0]
    assert np.max(np.abs(found - 60.0)) < 0.5


def test_steps_follow_the_fastest_part():
    """A bound that holds at the twins' own fastest pole, within what the operating point makes of it."""
    pneumatics = pneumatics_of(load_rig("wrist"))
    fastest = fastest_rate(pneumatics)
    assert fastest > 2.0 * np.pi * 350.0
    assert steps_for(pneumatics, 1e-3, 0.5) == int(np.ceil(fastest * 1e-3 / 0.5))


def test_fields_are_named():
    assert Fields._fields == ("rows", "states", "commands", "shares", "trace")
