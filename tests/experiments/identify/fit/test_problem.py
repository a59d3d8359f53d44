"""Residuals and Jacobian from the lanes: against central differences, and at the truth nothing but noise."""
import numpy as np
import pytest

from experiments.identify.fit.problem import (
    FINE,
    evaluate,
    held_out,
    offsets,
    predicted,
    with_steps,
)
from experiments.identify.replay.candidates import value_of
from experiments.rigs.rig import load_rig
from tests.experiments.identify.benches import pieces, problem, recorded


@pytest.fixture(scope="module", params=["cabinet", "wrist"])
def found(request):
    rig = load_rig(request.param)
    return problem(request.param, recorded(rig, pieces(request.param, ("click", "vent_down"))))


def at_truth(found):
    return np.array([f.inside(value_of(found.bench.rig, f.name)) for f in found.free])


def test_at_the_truth_there_is_noise(found):
    residuals, _ = evaluate(found._replace(reach=FINE), at_truth(found))
    assert abs(np.mean(residuals**2) - 1.0) < 0.06 and abs(np.mean(residuals)) < 1e-9


def test_slopes_against_central_differences(found):
    """Within a thousandth of each column's length, corners of the dead band and all; the known volume's comes last."""
    x = at_truth(found) + 0.01
    found = with_steps(found, x, FINE)
    _, jacobian = evaluate(found, x, known_too=True)
    assert jacobian.shape[1] == len(x) + 1
    for i in range(len(x)):
        step = np.zeros(len(x))
        step[i] = 1e-4
        above, below = evaluate(found, x + step)[0], evaluate(found, x - step)[0]
        difference = (above - below) / 2e-4
        assert np.linalg.norm(jacobian[:, i] - difference) < 1e-3 * np.linalg.norm(difference)


def test_an_offset_changes_nothing_but_itself(found):
    """A gauge whose zero is off gives the same residuals, and is told."""
    one = found.recordings[0]
    off = one._replace(channels={"reading_mmHg": one.channels["reading_mmHg"] + 3.0})
    x = at_truth(found)
    moved = held_out(found, [off])
    assert np.allclose(evaluate(held_out(found, [one]), x)[0], evaluate(moved, x)[0], atol=1e-6)
    assert offsets(moved, x)[0] - offsets(held_out(found, [one]), x)[0] == pytest.approx(3.0)


def test_side_by_side_has_the_bits_of_one_after_the_other(found, monkeypatch):
    """Threads change no bit and no order."""
    x = at_truth(found)
    together = evaluate(found, x)
    monkeypatch.setattr("experiments.identify.fit.problem.CORES", 1)
    alone = evaluate(found, x)
    assert np.array_equal(together[0], alone[0]) and np.array_equal(together[1], alone[1])


def test_what_is_predicted_follows_the_recording(found):
    one = found.recordings[1]
    course = predicted(found, at_truth(found))[1]["reading_mmHg"]
    assert np.std(course - one.channels["reading_mmHg"]) < 0.03
    assert found.channels(one) == ["reading_mmHg"]
    bare = found.courses(1, [found.candidate(at_truth(found))])["reading_mmHg"][:, 0]
    assert np.allclose(course, bare + np.mean(one.channels["reading_mmHg"] - bare))
