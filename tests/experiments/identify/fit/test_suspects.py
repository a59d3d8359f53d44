"""A misfit is charged to the number that makes it."""
import numpy as np

from experiments.identify.fit.problem import FINE, evaluate, with_steps
from experiments.identify.fit.solve import solve
from experiments.identify.fit.suspects import suspects
from experiments.rigs.rig import load_rig
from tests.experiments.identify.benches import pieces, problem, recorded


def charged(setting, kinds=("click", "sweep", "vent_down"), name="cabinet"):
    truth = load_rig(name, [setting])
    made = problem(name, recorded(truth, pieces(name, kinds)), ("valve.damping_ratio", "timing"))
    start = np.array([f.inside(0.001 if "dead" in f.name else load_rig(name).plant.valve.damping_ratio)
                      for f in made.free])
    fine = with_steps(made, start, FINE)
    found = solve(lambda x: evaluate(fine, x), start, fine.bounds, 15)
    ratio = float(np.mean(found.residuals**2))
    assert ratio > 1.2
    return suspects(fine, found.x, ratio)


def test_play_is_charged_with_play():
    found = charged("valve.hysteresis=0.004")
    assert found[0].name == "valve.hysteresis" and found[0].share > 0.5 and "play" in found[0].looks_like
    assert 0.002 < found[0].change < 0.008


def test_another_outlet_volume():
    found = charged("tube.valve_volume_mL=0.36")
    assert found[0].name == "tube.valve_volume_mL" and found[0].share > 0.9
    assert abs(found[0].change - 0.2) < 0.08
