"""Two lags in series change places: the reading hardly does."""
import numpy as np

from experiments.identify.fit.lags import outlet_lag_s, swapped_lags
from experiments.identify.fit.problem import FINE, Problem, evaluate, with_steps
from experiments.identify.fit.structure import LAGS
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.candidates import bench_of, free_of, value_of
from experiments.identify.replay.virtual import play
from experiments.rigs.rig import load_rig

SETTINGS = ["tube.kind=none", "cuff.gap_mm=0.0", "cuff.growth_mL=0.0", "cuff.leak_mL_s_mmHg=0.0",
            "transducer.bandwidth_Hz=40.0", "valve.outlet_resistance_mmHg_s_mL=2.0"]


def test_they_change_places():
    rig = load_rig("cabinet", SETTINGS)
    command = np.concatenate([np.zeros(100), np.full(200, 0.3), np.full(200, 0.1)])
    one = Recording("a", "step", 5e-4, command, play(rig, command, 5e-4), {"reading_mmHg": 0.021})
    made = Problem(bench_of(rig), tuple(free_of(rig, n) for n in LAGS), (), (one,))
    x = np.array([f.inside(value_of(rig, f.name)) for f in made.free])
    other = swapped_lags(made, x, LAGS)
    assert other is not None and np.max(np.abs(other - x)) > 0.3
    assert np.isclose(outlet_lag_s(made, other), 1.0 / (2.0 * np.pi * 40.0))
    fine = with_steps(made, x, FINE)
    assert np.mean(evaluate(fine, other)[0] ** 2) < 1.15 * np.mean(evaluate(fine, x)[0] ** 2)
    assert swapped_lags(made, x, ("valve.conductance",)) is None


def test_a_flow_valve_has_no_such_lag():
    rig = load_rig("wrist")
    made = Problem(bench_of(rig), (free_of(rig, "transducer.bandwidth_Hz"),), (), ())
    assert outlet_lag_s(made, np.array([5.0])) == 0.0 and swapped_lags(made, np.array([5.0]), LAGS) is None
