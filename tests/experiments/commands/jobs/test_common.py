"""What each command does, from arguments to exit status, standard output and files."""
import io
import sys
from importlib.util import find_spec

import numpy as np
import pytest

from experiments.commands.jobs import common as jobs
from experiments.commands.jobs.common import bounded, engine_of, pressure_source, progress_bar
from experiments.simulation import simulate
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise

SHORT = ("--record", "synthetic", "--seconds", "8")
STORM = ("supply.pressure_mmHg=3000.0", "supply.stall_mmHg=5000.0", "supply.volume_mL=100000.0",
         "valve.conductance=1.0", "filling.feedforward_per_mmHg=1.0", "cuff.volume_mL=0.5")


def sets(*changes):
    return [part for change in changes for part in ("--set", change)]


def files(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))


# --- the record ------------------------------------------------------------------------------------------------------


def test_synthetic_pressure(wrist):
    """As long as asked for (30 s by default), on the rig's tick; a later start is a later part of the same pressure."""
    assert len(pressure_source(wrist, "synthetic", None, 0.0, 1).pressure_mmHg) == 30_001
    whole = synthesise(SyntheticPressure(), 1e-3, 9.0, 3)
    part = pressure_source(wrist, "synthetic", 5.0, 4.0, 3)
    np.testing.assert_array_equal(part.pressure_mmHg, whole.pressure_mmHg[4000:])
    assert len(part.usable) == len(part.pressure_mmHg) == 5001


def test_a_recorded_pressure(wrist, tmp_path):
    time = np.arange(1000) / 100.0
    rows = "\n".join(f"{t:.2f},{90 + 20 * np.sin(7 * t):.3f}" for t in time)
    (tmp_path / "a.csv").write_text(f"time_s,pressure_mmHg\n{rows}\n")
    found = pressure_source(wrist, str(tmp_path / "a.csv"), 3.0, 2.0, 1)
    assert len(found.pressure_mmHg) == 3001
    np.testing.assert_allclose(found.pressure_mmHg, 90 + 20 * np.sin(7 * (2 + 1e-3 * np.arange(3001))), atol=0.05)


def test_without_a_record_it_is_the_pig_or_synthetic(wrist, monkeypatch):
    monkeypatch.setattr("plant.pressure.record.pig_available", lambda: False)
    assert pressure_source(wrist, None, 2.0, 0.0, 1).name == "synthetic"
    if find_spec("aeon") is not None:
        monkeypatch.undo()
        assert pressure_source(wrist, None, 2.0, 0.0, 1).name == "pig"


def test_more_ticks_than_a_run_holds(wrist, tmp_path, monkeypatch):
    """Refused before anything is made of that size, for synthetic pressure and for records."""
    with pytest.raises(InputError, match=r"synthetic: 8\.64e\+07 ticks .* take less with --seconds"):
        pressure_source(wrist, "synthetic", 86_400.0, 0.0, 1)
    time = np.arange(300) / 100.0
    (tmp_path / "a.csv").write_text("time_s,pressure_mmHg\n" + "".join(f"{t:.2f},90\n" for t in time))
    monkeypatch.setattr(jobs, "MOST_TICKS", 1000)
    with pytest.raises(InputError, match=r"a\.csv: 2990 ticks .*\(1000\)"):
        pressure_source(wrist, str(tmp_path / "a.csv"), None, 0.0, 1)
    assert len(pressure_source(wrist, str(tmp_path / "a.csv"), 1.0, 0.5, 1).pressure_mmHg) == 1001


def test_bounds_of_options():
    bounded("--at", 10.0, 10.0, 300.0, "mmHg")
    for value in (9.999, float("nan"), float("inf")):
        with pytest.raises(InputError, match=r"--at .* must be from 10 to 300 mmHg"):
            bounded("--at", value, 10.0, 300.0, "mmHg")


# --- progress --------------------------------------------------------------------------------------------------------


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_shows_on_a_terminal_only(monkeypatch):
    monkeypatch.setattr(sys, "stderr", Terminal())
    with progress_bar("running", quiet=True) as report:
        assert report is None
    with progress_bar("running", quiet=False) as report:
        report(0.5)
    assert "running" in sys.stderr.getvalue()
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress_bar("running", quiet=False) as report:
        assert report is None


# --- Ctrl-C ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("command", "where"), [
    ("simulate", "experiments.simulation.simulate.run_ticks"), ("check", "experiments.simulation.simulate.run_ticks"),
    ("simulate", "experiments.work.style.save"), ("check", "experiments.work.style.save"),
    ("simulate", "numpy.savetxt"), ("margins", "experiments.work.style.save"),
])
def test_interrupted_nothing_stays(cuffloop, tmp_path, monkeypatch, command, where):
    """Wherever Ctrl-C falls (running, drawing, writing): one line, status 130, no file and no folder."""
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(where, interrupt)
    more = {"simulate": (*SHORT, "--trace", tmp_path / "run.csv"), "check": SHORT, "margins": ()}[command]
    assert cuffloop(command, *more, "--out", tmp_path / "out") == (130, "", "cuffloop: interrupted\n")
    assert files(tmp_path) == [] and simulate.BLOCK > 0


def test_one_engine():
    with pytest.raises(InputError, match="leave the option out"):
        engine_of(2, "tcp://127.0.0.1:1")
    assert engine_of(1, None).begin_here_s == float("inf")
