"""Profile likelihood: where a fit is nearly linear it is Fisher's interval; where nothing is told it has no end."""
import numpy as np

from experiments.identify.fit.problem import FINE, evaluate, with_steps
from experiments.identify.fit.profile import RISE, followed, profile, risen
from experiments.identify.fit.solve import covariance, solve
from experiments.identify.fit.study import with_fewer_steps
from experiments.rigs.rig import load_rig
from tests.experiments.identify.benches import pieces, problem, recorded


def solved(parts, kinds=("click",)):
    rig = load_rig("cabinet")
    made = problem("cabinet", recorded(rig, pieces("cabinet", kinds)), parts)
    start = np.array([f.inside(1.02 * (0.001 if "dead" in f.name else getattr(
        getattr(rig.plant, f.name.split(".")[0]), f.name.split(".")[1]))) for f in made.free])
    fine = with_steps(made, start, FINE)
    return fine, solve(lambda x: evaluate(fine, x), start, fine.bounds, 20)


def test_as_fisher_where_it_is_linear():
    """Both ends within 2 % of 1.96 standard uncertainties."""
    fine, solution = solved(("timing", "transducer", "valve.damping_ratio"))
    spread = covariance(solution.jacobian)
    for k, free in enumerate(fine.free):
        found = profile(fine, solution, spread, k)
        sizes = np.abs([free.inside(found.low) - solution.x[k], free.inside(found.high) - solution.x[k]])
        assert np.allclose(sizes, np.sqrt(RISE * spread[k, k]), rtol=0.03) and found.closed_below and found.closed_above
        plain = profile(fine, solution, spread, k, full=False)
        assert not plain.profiled and np.isclose(plain.low, found.low, rtol=1e-3)


def test_the_width_is_found_with_fewer_steps():
    """About its own centre, within a hundredth of the width that steps three times as fine give."""
    fine, solution = solved(("timing", "valve.damping_ratio"))
    fewer, near = with_fewer_steps(fine, solution)
    assert fewer.steps[0] < fine.steps[0]
    spread = covariance(solution.jacobian)
    for k, free in enumerate(fine.free):
        wide, narrow = profile(fewer, near, spread, k, True, solution.x), profile(fine, solution, spread, k)
        width = free.inside(narrow.high) - free.inside(narrow.low)
        assert abs(free.inside(wide.low) - free.inside(narrow.low)) < 0.02 * width
        assert abs(free.inside(wide.high) - free.inside(narrow.high)) < 0.02 * width


def test_the_rise_at_its_ends():
    fine, solution = solved(("timing", "transducer"))
    spread = covariance(solution.jacobian)
    reach, closed = followed(fine, solution, spread, 0, 1.0)
    assert closed and abs(risen(fine, solution, spread, 0, reach) / RISE - 1.0) < 0.05


def test_open_where_nothing_is_told():
    """A slew limit that a slow triangle never meets."""
    fine, solution = solved(("valve.slew_mmHg_s", "timing"), ("sweep",))
    found = profile(fine, solution, covariance(solution.jacobian), 0)
    assert not found.closed_above and not found.closed_below
