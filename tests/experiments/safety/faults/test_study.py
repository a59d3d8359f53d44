"""Studies: same bits whatever the workers, resumed from what is on disk, refused when they make no sense."""
import numpy as np
import pytest

from controller.protection.guards import PROTECTIONS
from experiments.safety.faults import study as module
from experiments.safety.faults.study import KEYS, Plan, Told, fault_text, prepare, run_piece, run_study
from experiments.safety.faults.verdict import FaultLimits
from experiments.subjects.population import sample_fingers
from experiments.work.run import local
from plant.errors import InputError

SMALL = Plan("wrist", (), ("valve_stuck_open:1", "emitter_out:0.8", "cough:1"), 2, 1, "mixed", 1, False,
                ("relief", "dump_valve", "watchdog"), 2.5, FaultLimits())


@pytest.fixture(scope="module")
def study():
    return run_study(SMALL, engine=local(1))


def test_every_combination_has_its_row(study):
    """Failures once with all protection and once without each; physiology only with all."""
    assert len(study.rows) == 2 * (2 * 4 + 1)
    lost = study.column("lost")
    assert set(lost) == {-1.0, *(float(PROTECTIONS.index(n)) for n in SMALL.protections)}
    copies = study.column("copied") > 0.0
    for i in np.nonzero(copies)[0]:  # a copied row is the run with everything in place
        whole = (study.rows[:, :4] == study.rows[i, :4]).all(axis=1) & (lost == -1.0)
        assert np.array_equal(study.rows[i, len(KEYS) :], study.rows[whole][0, len(KEYS) :])


def test_workers_change_no_bit(study):
    again = run_study(SMALL, engine=local(2))
    assert np.array_equal(again.rows, study.rows) and np.array_equal(again.breaks, study.breaks)


def test_a_stopped_study_goes_on(tmp_path, study, monkeypatch):
    """The second half runs, the first is read; the result is the same."""
    seen = []
    real = module.run_piece

    def stopping(plan, piece):
        seen.append((piece.number, piece.phase))
        if len(seen) == 2:
            raise KeyboardInterrupt
        return real(plan, piece)

    monkeypatch.setattr(module, "run_piece", stopping)
    with pytest.raises(KeyboardInterrupt, match="1 of 2 fingers and onsets are done"):
        run_study(SMALL, tmp_path / "c", engine=local(1))
    again = run_study(SMALL, tmp_path / "c", engine=local(1))
    assert seen == [(0, 0), (1, 0), (1, 0)] and np.array_equal(again.rows, study.rows)


@pytest.mark.parametrize("change", [{"seed": 2}, {"settings": ("relief.cracking_mmHg=250",)}, {"after_s": 3.0},
                                    {"faults": ("cough:1",)}])
def test_another_study_is_not_taken_for_this_one(tmp_path, monkeypatch, change):
    monkeypatch.setattr(module, "run_piece", lambda *_: Told(np.zeros((1, module.WIDTH)), "", []))
    run_study(SMALL, tmp_path / "c", engine=local(1))
    run_study(SMALL, tmp_path / "c", engine=local(1))
    with pytest.raises(InputError, match="holds another study"):
        run_study(SMALL._replace(**change), tmp_path / "c", engine=local(1))


def test_pairs_are_run_with_all_protection():
    found = run_study(SMALL._replace(pairs=True, fingers=1, protections=()), engine=local(1))
    second = found.column("second")
    assert np.sum(second >= 0) == 1 and np.sum(second < 0) == 3


def test_names_come_back():
    faults, units = prepare(SMALL)
    assert tuple(fault_text(f) for f in faults) == SMALL.faults and [u[:2] for u in units] == [(0, 0), (1, 0)]
    assert units[0].other_finger == units[1].finger and units[0].finger.name == sample_fingers(1)[0].name


@pytest.mark.parametrize(("change", "word"), [
    ({"fingers": 0}, "fingers"), ({"phases": 0}, "phases"), ({"faults": ("x",)}, "x"), ({"rig": "x"}, "x"),
    ({"protections": ("x",)}, "x"),
])
def test_nonsense_is_refused(change, word):
    with pytest.raises(InputError, match=word):
        prepare(SMALL._replace(**change))


def test_a_finger_that_the_rig_does_not_hold_is_named():
    """A supply too low to clamp at all: no rows, and a reason."""
    rows, why, _ = run_piece(SMALL._replace(settings=("supply.pressure_mmHg=100",)), prepare(SMALL)[1][0])
    assert len(rows) == 0 and why
