"""A sweep as a whole: the same bits on any engine and after any cut, the worst finger, and what could not be had."""
import numpy as np
import pytest

from experiments.check.check import run_tracking
from experiments.design.sweep import study as module
from experiments.design.sweep.piece import MARGINS, Figure, Piece, run_piece
from experiments.design.sweep.study import worst_of
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import plan_at_rest, simulate
from experiments.subjects.finger import finger_pressure, on_finger
from experiments.subjects.population import find_finger
from experiments.work.run import Engine, local
from plant.errors import InputError

NOW = load_rig("wrist").controller


def test_shape_and_order(gains):
    """The last axis runs fastest, and each point is where its values say."""
    assert gains.shape == (8, 7) and gains.figures.shape == (56, 1, len(gains.names))
    i = 3 * 7 + 2
    assert gains.points[i] == (gains.axes[0].values[3], gains.axes[1].values[2])
    alone = run_piece(gains.case, Piece((gains.points[i],), None)).figures
    np.testing.assert_allclose(gains.figures[i], alone, rtol=1e-6)


def test_the_present_point_is_the_rig_as_it_is(gains, make_sweep):
    present = make_sweep([f"controller.kp={NOW.kp}", f"controller.td_s={NOW.td_s}"])
    np.testing.assert_allclose(gains.present, present.figures[0], rtol=1e-6)
    assert gains.present_worst("stable") == 1.0
    assert make_sweep(["finger.artery.half_width_mmHg=10,20"], fingers=2).present is None


def test_every_figure_of_a_run_is_that_of_the_run_alone(people):
    """On each point and finger, whoever went beside it."""
    rms, peak, bias = (people.names.index(f"{name}_mmHg") for name in ("rms_error", "peak_error", "bias"))
    for who, finger in enumerate(people.fingers):
        trace = finger_pressure(finger, 1e-3, 8.0)
        for i, (gain,) in enumerate(people.points):
            run = simulate(on_finger(load_rig("wrist", [f"controller.kp={gain}"]), finger), trace, plan_at_rest(8.0),
                           seed=finger.seed)
            alone, found = run_tracking(run).ideal, people.figures[i, who]
            assert abs(found[rms] - alone.rms_mmHg) < 1e-9 and abs(found[peak] - alone.peak_mmHg) < 1e-9
            assert abs(found[bias] - abs(alone.bias_mmHg)) < 1e-9
            assert found[people.names.index("run_done")] == float(run.status == "done")


@pytest.mark.parametrize("together", [1, 2, 5])
def test_runs_do_not_depend_on_who_goes_beside(people, make_sweep, monkeypatch, together):
    monkeypatch.setattr(module, "RUNS", together)
    monkeypatch.setattr(module, "LEAST_RUNS", 1)
    again = make_sweep(["controller.kp=0.012,0.0218,0.2"], fingers=3, simulated=True)
    runs = slice(len(MARGINS), None)
    assert again.figures[:, :, runs].tobytes() == people.figures[:, :, runs].tobytes()


@pytest.mark.parametrize(("names", "people", "size"), [
    (("controller.kp", "controller.td_s"), 3, 32), (("controller.kp", "tube.length_m"), 2, 32),
    (("tube.length_m", "valve.play"), 1, 8)])
def test_batches_hold_every_point_on_every_finger_once(gains, monkeypatch, names, people, size):
    """Full but for the last, each block on one plant."""
    rows = [(a, b) for a in range(7) for b in range(6)]
    case = gains.case._replace(names=names, simulated=True)
    monkeypatch.setattr(module, "RUNS", size)
    batches = module._batches(case, rows, people)
    cells = [(row, who) for batch in batches for block, who in batch for row in block]
    assert sorted(cells) == [(row, who) for row in range(42) for who in range(people)]
    counts = [sum(len(block) for block, _ in batch) for batch in batches]
    assert counts[:-1] == [size] * (len(counts) - 1) and 0 < counts[-1] <= size
    own = [i for i, name in enumerate(names) if not name.startswith("controller.")]
    assert all(len({tuple(rows[row][i] for i in own) for row in block}) == 1 for batch in batches for block, _ in batch)


def test_long_runs_go_in_smaller_batches(gains):
    def together(seconds):
        return module._runs_together(gains.case._replace(trace=None, seconds=seconds))

    assert [together(s) for s in (8.0, 60.0, 300.0, 3600.0)] == [32, 32, 13, 8]


@pytest.mark.parametrize("engine", [local(2), local(2)._replace(begin_here_s=0.0)])
def test_same_bits_on_any_engine(gains, make_sweep, engine):
    again = make_sweep(["controller.kp=0.008:0.12:8", "controller.td_s=0.0008:0.008:7"], engine=engine)
    assert again.figures.tobytes() == gains.figures.tobytes()


def test_cut_short_and_resumed(tmp_path, make_sweep):
    """Every second chunk is lost; what comes of it is the same to the bit, and nothing else is computed again."""
    texts = ["controller.kp=0.004:0.012:3", "tube.length_m=0,0.05,0.1,0.2"]
    whole = make_sweep(texts, folder=tmp_path / "a")
    lost = sorted((tmp_path / "a").glob("chunk-*"))[::2]
    for path in lost:
        path.unlink()
    counted = []
    again = make_sweep(texts, folder=tmp_path / "a", progress=counted.append)
    assert again.figures.tobytes() == whole.figures.tobytes()
    assert len(counted) == len(lost) + 1
    with pytest.raises(InputError, match="holds another study"):
        make_sweep([texts[0], "tube.length_m=0,0.05,0.1,0.3"], folder=tmp_path / "a")


def test_the_worst_finger_is_the_worst(people):
    """Margins of each finger alone; the least signed modulus margin has the name."""
    assert [f.name for f in people.fingers] == ["mixed-1-0000", "mixed-1-0001", "mixed-1-0002"]
    column = people.figures[:, :, people.names.index("signed_modulus_margin")]
    np.testing.assert_array_equal(people.worst_finger(), np.argmin(column, axis=1))
    np.testing.assert_array_equal(people.worst("phase_margin_deg")[:2], np.min(
        people.figures[:2, :, people.names.index("phase_margin_deg")], axis=1))
    np.testing.assert_array_equal(people.worst("rms_error_mmHg")[:2], np.max(
        people.figures[:2, :, people.names.index("rms_error_mmHg")], axis=1))
    assert np.isnan(people.worst("phase_margin_deg")[2]) and people.worst("stable")[2] == 0.0


def test_a_finger_alone_has_the_same_figures(people):
    """What the printed command runs: one finger, made anew from its name."""
    name = people.fingers[int(people.worst_finger()[1])].name
    alone = run_piece(people.case, Piece((people.points[1],), find_finger(name)))
    who = [f.name for f in people.fingers].index(name)
    np.testing.assert_allclose(alone.figures[0], people.figures[1, who], rtol=1e-6)


def test_what_cannot_be_had(make_sweep):
    """A point too far has a reason; a sweep without any point is refused with the first."""
    found = make_sweep(["supply.pressure_mmHg=100,600"])
    assert np.isnan(found.worst("stable")[0]) and found.worst("stable")[1] == 1.0
    assert sum(found.reasons.values()) == 1 and "supply" in next(iter(found.reasons))
    with pytest.raises(InputError, match=r"no point of the sweep can be had: .*supply"):
        make_sweep(["supply.pressure_mmHg=100,101", "timing.dead_time_s=0.0005"])


def test_a_finger_that_no_point_suits_is_left_out(make_sweep, monkeypatch):
    people = [f._replace(pressure=f.pressure._replace(systolic_mmHg=230.0, diastolic_mmHg=200.0)) if i == 1 else f
              for i, f in enumerate(make_sweep(["controller.kp=0.0218"], fingers=3).fingers)]
    source = make_sweep(["controller.kp=0.0218"], fingers=1)
    weak = source.case._replace(source=source.case.source.changed("supply", "pressure_mmHg", 200.0))
    found = module.run_study(module.Plan(weak, source.axes, source.points, tuple(people)), engine=local(1))
    assert found.left_out == ("mixed-1-0001",) and len(found.fingers) == 2 and found.figures.shape[1] == 2
    assert found.reasons


def test_a_sample(make_sweep):
    found = make_sweep(["controller.kp=0.004:0.012", "tube.length_m=0.05:0.2"], sample=8)
    assert found.sampled and found.shape == (8,) and found.figures.shape[0] == 8
    assert found.points[0] != found.points[1] and np.all(np.isin(found.worst("stable"), (0.0, 1.0)))


def test_too_many_results(make_sweep, monkeypatch):
    monkeypatch.setattr(module, "MOST_RESULTS", 5)
    with pytest.raises(InputError, match="3 points on 2 fingers"):
        make_sweep(["controller.kp=0.004:0.012:3"], fingers=2)


def test_the_bad_end():
    values = np.array([[1.0, 3.0], [np.nan, 2.0]])
    np.testing.assert_array_equal(worst_of(Figure("1", "", "min"), values), [1.0, np.nan])
    np.testing.assert_array_equal(worst_of(Figure("1", "", "max"), values), [3.0, np.nan])


def test_progress(make_sweep):
    shares = []
    make_sweep(["controller.kp=0.004:0.012:3"], engine=Engine(local(1).start, begin_here_s=1e9), progress=shares.append)
    assert shares[-1] == 1.0
