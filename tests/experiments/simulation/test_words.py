"""The law on words in the coupled simulation."""
import numpy as np
import pytest

from controller.fixed.formats import plan
from controller.fixed.ranges import norms
from controller.tick.inverse import achieved_demand
from controller.tick.law import design
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import prepare, run_ready
from experiments.simulation.words import PLAN, fixed_law, ranges_in, reach_of_demand, with_law
from plant.pressure.synthetic import SyntheticPressure, synthesise


@pytest.fixture(scope="module")
def ready():
    rig = load_rig("wrist")
    return prepare(rig, synthesise(SyntheticPressure(), rig.timing.period_s, 7.0, 1), PLAN)


def test_a_run_on_long_words_is_the_run_in_doubles_but_for_last_bits(ready):
    double = run_ready(ready)
    law = double.coefficients
    fixed = run_ready(with_law(ready, plan(law, 32, ranges_in(double, ready.rig, law))[0]))
    for name in ("cuff_mmHg", "error_mmHg", "demand", "integral", "derivative", "command"):
        assert np.max(np.abs(fixed.channels[name] - double.channels[name])) < 0.1 * np.ptp(double.channels[name])
    assert np.mean(np.abs(fixed.channels["cuff_mmHg"] - double.channels["cuff_mmHg"])) < 0.02
    again = run_ready(with_law(ready, law))
    assert np.array_equal(again.channels["cuff_mmHg"], double.channels["cuff_mmHg"])


def test_ranges_hold_what_the_run_shows_and_full_command(ready):
    run = run_ready(ready)
    law, rig = run.coefficients, ready.rig
    found = ranges_in(run, rig, law)
    assert found.error_mmHg >= 4.0 * np.max(np.abs(run.channels["error_mmHg"][run.channels["mode"] == 1.0]))
    assert found.notch_mmHg == pytest.approx(norms(law)[1] * found.error_mmHg)
    assert ranges_in(run, rig, law, 200.0).error_mmHg == 200.0
    cuff = run.channels["cuff_mmHg"][run.channels["mode"] == 1.0]
    assert found.demand >= abs(achieved_demand(rig.stage, 1.0, float(cuff.min())))
    assert reach_of_demand(rig, law, [90.0]) == max(
        abs(achieved_demand(rig.stage, command, 90.0)) for command in (-1.0, 1.0))


def test_a_rigs_own_plan_is_the_same_every_time():
    rig = load_rig("wrist")
    first, second = fixed_law(rig, 16), fixed_law(rig, 16)
    assert first == second and first[1].words == 16
    assert first[0].period_s == design(rig.controller, rig.timing.period_s).period_s
