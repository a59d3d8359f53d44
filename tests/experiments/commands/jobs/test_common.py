"""What each command does, from arguments to exit status, standard output and files."""
import io
import sys
import time

import pytest

from experiments.commands.jobs.common import LINE_s, progress_bar, progress_lines
from experiments.simulation import simulate
from tests.experiments.commands.jobs.command_line import SHORT, files

# --- progress --------------------------------------------------------------------------------------------------------


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_is_a_bar_on_a_terminal_only(monkeypatch):
    monkeypatch.setattr(sys, "stderr", Terminal())
    with progress_bar("running", quiet=True) as report:
        report(0.5)
    assert sys.stderr.getvalue() == ""
    with progress_bar("running", quiet=False) as report:
        report(0.5)
    assert "running" in sys.stderr.getvalue()
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress_bar("running", quiet=False) as report:
        report(0.5)
    assert sys.stderr.getvalue() == "", "nothing before the first half minute"


def test_a_log_gets_a_line_now_and_then(monkeypatch):
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress_lines("running", 0.02) as report:
        report(0.25)
        time.sleep(0.15)
    lines = sys.stderr.getvalue().splitlines()
    assert 2 <= len(lines) <= 8 and all(line == "cuffloop: running: 25 % after 0 s" for line in lines)
    time.sleep(0.06)
    assert len(sys.stderr.getvalue().splitlines()) == len(lines) and LINE_s == 30.0


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
