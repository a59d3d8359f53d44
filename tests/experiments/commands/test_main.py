"""The command line itself: help, complaints, interruption, and a few whole processes."""
import importlib
import importlib.util
import json
import os
import signal
import subprocess
import sys
import time

import pytest

from experiments.commands import firmware, readings
from experiments.commands import main as command

NEEDED = {  # arguments that a command cannot do without
    "agree": ("a.csv", "b.csv"), "identify": ("sheet.toml",),
    "sweep": ("wrist", "controller.kp=1,2"), "wear": ("--hours", "8", "--fingers", "1"),
}
INSIDE = "experiments.commands.jobs"
JOBS = {  # where the job of a command is, if not in a module of its name
    **{function.__name__: f"{INSIDE}.{inside}.{function.__name__}" for inside, group in (
        ("readings", readings), ("firmware", firmware)) for function in group.COMMANDS},
    "excite": f"{INSIDE}.identify", "identify": f"{INSIDE}.identify", "bench": "experiments.bench.job",
}
COMMANDS = [str(found.name or found.callback.__name__) for found in command.app.registered_commands]


def process(*arguments, **more):
    return subprocess.run([sys.executable, "-c", "import experiments.commands.main as c; c.main()", *arguments],
                          capture_output=True, text=True, check=False, **more)


def test_the_commands_are_known():
    assert {"check", "simulate", "margins", "rigs", "height", "wear"} <= set(COMMANDS)


def test_without_a_command_there_is_help(cuffloop):
    said = cuffloop()
    assert said.status == 0 and said.err == "" and said == cuffloop("--help")
    for name in COMMANDS:
        assert name in said.out
    assert "Not a medical device" in " ".join(said.out.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(cuffloop, name):
    said = cuffloop(name, "--help")
    assert said.status == 0 and said.out.startswith(f"Usage: cuffloop {name}")
    assert ("--json" in said.out) == (name != "bench")


def test_help_is_quick_and_light():
    """Neither NumPy nor Numba is loaded; the best of three starts well under half a second."""
    code = ("import sys, experiments.commands.main as c\ntry: c.main()\n"
            "finally: print(sorted({'numpy', 'numba'} & set(sys.modules)))")
    took = []
    for _ in range(3):
        start = time.perf_counter()
        done = subprocess.run([sys.executable, "-c", code, "--help"], capture_output=True, text=True, check=True)
        took.append(time.perf_counter() - start)
    assert done.stdout.endswith("[]\n")
    assert min(took) < 0.4 or os.getloadavg()[0] > 2.0  # on a busy machine the clock says little


@pytest.mark.parametrize(("arguments", "words"), [
    (("chekc",), ("chekc", "cuffloop --help")),
    (("--loud",), ("--loud", "cuffloop --help")),
    (("check", "--loud"), ("--loud", "cuffloop check --help")),
    (("margins", "wrist", "cabinet"), ("cabinet", "cuffloop margins --help")),
    (("check", "--seconds"), ("--seconds", "argument")),
    (("check", "--seconds", "ten"), ("--seconds", "'ten' is not a number")),
    (("simulate", "--seed", "1.5"), ("--seed", "'1.5' is not a whole number")),
    (("sweep",), ("AXIS", "cuffloop sweep --help")),
    (("sweep", "tube.length_m=1,2", "--sample", "x"), ("--sample", "'x'")),
    (("margins", "--at", "90,100"), ("--at", "'90,100' is not a number")),
])
def test_a_wrong_command_line_is_one_line(refusal, arguments, words):
    line = refusal(*arguments)
    assert all(word in line for word in words), line


@pytest.mark.parametrize("error", [KeyboardInterrupt, MemoryError])
@pytest.mark.parametrize("name", COMMANDS)
def test_interrupted_or_out_of_memory(cuffloop, monkeypatch, name, error):
    def end(*_, **__):
        raise error

    module = importlib.import_module(JOBS.get(name, f"{INSIDE}.{name}"))
    monkeypatch.setattr(module, f"{name}_job", end)
    said = cuffloop(name, *NEEDED.get(name, ()))
    assert said.out == "" and said.err.count("\n") == 1
    if error is KeyboardInterrupt:
        assert said == (130, "", "cuffloop: interrupted\n")
    else:
        assert said.status == 2 and "memory" in said.err and "--seconds" in said.err


def test_an_interruption_may_say_what_is_kept(cuffloop, monkeypatch):
    def end(*_, **__):
        raise KeyboardInterrupt("3 of 9 are kept")

    monkeypatch.setattr("experiments.commands.jobs.check.check_job", end)
    assert cuffloop("check") == (130, "", "cuffloop: interrupted; 3 of 9 are kept\n")



def test_as_a_process():
    """Status, streams and JSON as a shell sees them."""
    done = process("rigs", "--json")
    assert done.returncode == 0 and done.stderr == "" and set(json.loads(done.stdout)) == {"wrist", "cabinet"}
    done = process("check", "nobody")
    assert (done.returncode, done.stdout) == (2, "")
    names = "cabinet, wrist, valve_near, valve_far"
    assert done.stderr == f"cuffloop: nobody: not a built-in rig ({names}) and not a .toml file\n"


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
def test_ctrl_c_in_the_middle_of_a_run(tmp_path):
    """A long run in its compiled loop ends within moments, in one line; nothing is left of what it was to write."""
    assert process("simulate", "--record", "synthetic", "--seconds", "8").returncode == 0  # all compiled from here on
    start = ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "  # a shell may have ignored it
             "import experiments.commands.main as c; c.main()")
    running = subprocess.Popen(
        [sys.executable, "-c", start, "simulate", "--record", "synthetic", "--seconds", "2000", "--out",
         str(tmp_path / "out"), "--trace", str(tmp_path / "run.csv")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    while not (tmp_path / "out").exists() and running.poll() is None:
        time.sleep(0.02)
    time.sleep(1.0)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert (running.returncode, out, err) == (130, "", "cuffloop: interrupted\n")
    assert list(tmp_path.iterdir()) == []


def test_a_terminal_without_our_signs():
    """Where ≥, ° or μ cannot be shown, they are spelled out rather than ending in a traceback."""
    done = process("rigs", "wrist", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0 and done.stderr == "" and r"\u2026" in done.stdout and done.stdout.isascii()


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")
def test_output_that_goes_nowhere():
    """A full disk is one line and status 2; a reader that has gone is no complaint at all."""
    start = [sys.executable, "-c", "import experiments.commands.main as c; c.main()", "rigs"]
    with open("/dev/full", "w") as full:
        done = subprocess.run(start, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2 and done.stderr.startswith("cuffloop: ") and done.stderr.count("\n") == 1
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(start, stdout=writer, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writer)
    assert (done.returncode, done.stderr) == (141, "")
