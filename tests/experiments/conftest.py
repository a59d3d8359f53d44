"""What these tests share: the command line in this process, and one short run and check of the wrist rig."""
import contextlib
import io
import re
import sys
from collections.abc import Callable
from typing import NamedTuple

import pytest

from calibrate.search.strategies import BUILT_IN, load_strategy
from experiments.calibration.schedule import study as schedules
from experiments.calibration.search.trial import Trial, finger_trial
from experiments.check.check import Check, check
from experiments.commands import main as command
from experiments.design.sweep.axes import grid_points, parse_axes, sample_points
from experiments.design.sweep.piece import Case
from experiments.design.sweep.study import Plan as SweepPlan
from experiments.design.sweep.study import Study, run_study
from experiments.design.tune.limits import margin_limits
from experiments.design.tune.study import Aims, Tuning, tune
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import Rig, load_rig, read_rig
from experiments.simulation.instrument import instrument_of
from experiments.simulation.simulate import Plan, Run, simulate
from experiments.subjects.population import find_finger, sample_fingers
from experiments.work.run import local
from plant.pressure.record import PressureTrace
from plant.pressure.synthetic import SyntheticPressure, synthesise


class Said(NamedTuple):
    """What a command line came to."""

    status: int
    out: str
    err: str


STILL_BUSY = re.compile(r"cuffloop: [^\n]*: \d+ % after \d+ s\n")  # on a slow machine only


def said(*arguments: object) -> Said:
    """Run `cuffloop` with these arguments in this process."""
    out, err, before = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["cuffloop", *map(str, arguments)]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as end:
            command.main()
    finally:
        sys.argv = before
    return Said(int(end.value.code or 0), out.getvalue(), STILL_BUSY.sub("", err.getvalue()))


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
def run_command(cuffloop: Callable[..., Said]) -> Callable[..., Said]:
    """The same, in tests that import the package of that name."""
    return cuffloop


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
def checked(wrist: Rig) -> Check:
    """A check of the wrist rig on fourteen seconds of synthetic pressure, against its own requirements."""
    trace = synthesise(SyntheticPressure(), 1e-3, 14.0, 1)
    return check(wrist, trace, load_requirements(default_requirements("wrist")))


@pytest.fixture(scope="session")
def comparison() -> schedules.Study:
    """Three schedules in two scenarios on two fingers, two minutes each."""
    plan = schedules.Plan("wrist", (), "never,growing,steady", ("quiet", "cold"), 2, "mixed", 1, 120.0)
    return schedules.run_study(plan)


@pytest.fixture(scope="session")
def trials(wrist: Rig) -> dict[str, Trial]:
    """Each built-in search on one virtual finger, and two that fail, by a short name."""
    instrument = instrument_of(wrist)

    def trial(finger: str, strategy: str) -> Trial:
        return finger_trial(wrist, find_finger(finger), load_strategy(strategy), instrument, 5)

    found = {name: trial("mixed-1-0011", name) for name in BUILT_IN}
    return found | {"no pulse": trial("mixed-1-0003-no_pulse", "probing"),
                    "loose cuff": trial("mixed-1-0003-loose_cuff", "waveform"),
                    "saturated": trial("mixed-1-0003-light_saturated", "classroom")}


def swept(texts: list[str], fingers: int = 0, simulated: bool = False, sample: int = 0, **more: object) -> Study:
    """A small sweep of the wrist rig, on its own eight seconds of synthetic pressure or on the first fingers."""
    source, people = read_rig("wrist"), sample_fingers(fingers)
    axes = parse_axes(texts, source, bool(people))
    trace = None if people else synthesise(SyntheticPressure(), 1e-3, 8.0, 1)
    case = Case(source, tuple(axis.name for axis in axes), simulated, trace, None, 8.0, 0.0, 1)
    points = sample_points(axes, sample, 1) if sample else grid_points(axes)
    plan = SweepPlan(case, tuple(axes), tuple(points), tuple(people), bool(sample))
    return run_study(plan, **{"engine": local(1)} | more)  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def make_sweep() -> Callable[..., Study]:
    """`make_sweep(["controller.kp=0.004:0.01:3"], fingers=2)` is a sweep."""
    return swept


@pytest.fixture(scope="session")
def gains() -> Study:
    """Eight by seven gains, from unstable to stable, some of which keep all limits."""
    return swept(["controller.kp=0.008:0.12:8", "controller.td_s=0.0008:0.008:7"])


@pytest.fixture(scope="session")
def people() -> Study:
    """Five gains on three fingers, two of them in a simulation that holds and one unstable."""
    return swept(["controller.kp=0.012,0.0218,0.2"], fingers=3, simulated=True)


@pytest.fixture(scope="session")
def tuning(wrist: Rig) -> Tuning:
    """A tuning of the wrist rig for eight fingers, over two plain structures and two bounds on the sensitivity."""
    return tune(wrist, sample_fingers(8), Aims(margin_limits({}), structures=("PI", "PI with lead"), peaks=(1.5, 1.6)))
