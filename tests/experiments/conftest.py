"""What these tests share: the command line in this process, and one short run and check of the wrist rig."""
import contextlib
import io
import sys
from collections.abc import Callable
from typing import NamedTuple

import pytest

from experiments import command
from experiments.check import Check, check
from experiments.population import sample_fingers
from experiments.requirements import default_requirements, load_requirements
from experiments.rig import Rig, load_rig
from experiments.simulate import Plan, Run, simulate
from experiments.tune import Tuning, tune
from experiments.tuning_limits import margin_limits
from plant.pressure_record import PressureTrace
from plant.pressure_synthetic import SyntheticPressure, synthesise


class Said(NamedTuple):
    """What a command line came to."""

    status: int
    out: str
    err: str


def said(*arguments: object) -> Said:
    """Run `cuffloop` with these arguments in this process."""
    out, err, before = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["cuffloop", *map(str, arguments)]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as end:
            command.main()
    finally:
        sys.argv = before
    return Said(int(end.value.code or 0), out.getvalue(), err.getvalue())


def refused(*arguments: object) -> str:
    """The one line with which `cuffloop` refuses these arguments, with status 2 and nothing else said."""
    status, out, err = said(*arguments)
    assert status == 2, f"status {status}\n{out}\n{err}"
    assert out == ""
    assert err.startswith("cuffloop: ") and err.endswith("\n") and err.count("\n") == 1, err
    assert err.rstrip("\n").isprintable() and 12 < len(err) <= 1020
    return err.removeprefix("cuffloop: ").rstrip("\n")


@pytest.fixture(scope="session")
def cuffloop() -> Callable[..., Said]:
    """`cuffloop("check", "wrist")` is status, standard output and standard error."""
    return said


@pytest.fixture(scope="session")
def refusal() -> Callable[..., str]:
    """`refusal("check", "nobody")` is the line; it fails when the command does anything but refuse."""
    return refused


@pytest.fixture(scope="session")
def wrist() -> Rig:
    """The built-in wrist rig."""
    return load_rig("wrist")


@pytest.fixture(scope="session")
def pressure() -> PressureTrace:
    """Eight seconds of synthetic pressure on ticks of 1 ms."""
    return synthesise(SyntheticPressure(), 1e-3, 8.0, 1)


@pytest.fixture(scope="session")
def run(wrist: Rig, pressure: PressureTrace) -> Run:
    """The wrist rig on eight seconds of synthetic pressure, vented for the last half second."""
    return simulate(wrist, pressure, Plan(vent_s=0.5))


@pytest.fixture(scope="session")
def checked(wrist: Rig, pressure: PressureTrace) -> Check:
    """A check of the wrist rig on eight seconds of synthetic pressure, against its own requirements."""
    return check(wrist, pressure, load_requirements(default_requirements("wrist")))


@pytest.fixture(scope="session")
def tuning(wrist: Rig) -> Tuning:
    """A tuning of the wrist rig for eight fingers, over two plain structures and two bounds on the sensitivity."""
    return tune(wrist, sample_fingers(8), margin_limits({}), structures=("PI", "PI with lead"), peaks=(1.5, 1.6))
