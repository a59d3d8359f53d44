"""Damaged files and arguments over all parsers: no traceback, status 0, 1 or 2, and at most two lines of complaint.

    python -m tests.fuzz.run --count 100000 --seed 1

Each case follows from seed and number alone: `--first N --count 1` gives it again. What fails is printed with its
number; the exit status is 1 when anything failed.
"""
from __future__ import annotations

import argparse
import contextlib
import functools
import io
import resource
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import NamedTuple
from unittest import mock

import typer

from experiments.commands import main as command
from experiments.work import run as work
from plant.errors import InputError
from plant.messages import one_line
from tests.fuzz.targets import TARGETS, prepare

MOST_BYTES = 8 * 2**30  # of memory: what wants more fails here instead of on the machine
MOST_LINES = 2
SLOW_s = 5.0
TELL = 5000  # cases between two words on how far it is


class Report(NamedTuple):
    """What some cases came to."""

    ends: Counter[tuple[str, str]]  # (target, how it ended)
    failures: list[str]
    slowest: tuple[float, str]  # seconds, case


def one_case(seed: int, number: int, folder: Path) -> tuple[str, str]:
    """(target, how it ended). Raises AssertionError, or whatever got out, when it did not end as it should."""
    rng = Random(f"{seed}-{number}")
    name = rng.choice(list(TARGETS))
    try:
        arguments = TARGETS[name](rng, folder)
    except InputError as refused:
        said = one_line(refused)
        assert said.isprintable() and said, repr(said)
        return name, "2"
    if arguments is None:
        return name, "0"
    out = folder / "out"
    more = ("--out", str(out)) if rng.random() < 0.2 and arguments[0] not in ("rigs", "margins") else ()
    status, printed, complaint = said_by((*arguments, *more))
    assert status in (0, 1, 2), f"status {status}"
    assert complaint.count("\n") <= MOST_LINES, complaint
    assert "Traceback" not in printed + complaint
    if status == 2:
        assert printed == "" and complaint.startswith("cuffloop: ") and len(complaint) < 1100, (printed, complaint)
        assert complaint.rstrip("\n").isprintable(), repr(complaint)
        assert not out.exists(), "something was written"
    return name, str(status)


def said_by(arguments: tuple[str, ...]) -> tuple[int, str, str]:
    """Status and what was printed of `cuffloop` with these arguments, in this process."""
    out, err, before = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["cuffloop", *arguments]
    status = -1
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), warnings.catch_warnings():
            for kind in (UserWarning, RuntimeWarning, FutureWarning):  # Python shows them once, here each case counts
                warnings.simplefilter("always", kind)
            command.main()
    except SystemExit as end:
        status = int(end.code or 0) if isinstance(end.code, int) or end.code is None else -1
    finally:
        sys.argv = before
    return status, out.getvalue(), err.getvalue()


def cases(seed: int, first: int, count: int, echo: bool = False) -> Report:
    """Run cases first … first + count − 1, one after the other."""
    report = Report(Counter(), [], (0.0, ""))
    with tempfile.TemporaryDirectory() as place, contextlib.chdir(place), _made_once():
        prepare(Path(place))
        for number in range(first, first + count):
            began = time.perf_counter()
            try:
                end = one_case(seed, number, Path(place))
            except Exception as error:  # whatever it is, it should not have got out
                end = ("any", "failed")
                at = traceback.extract_tb(error.__traceback__)[-1]
                said = f"case {number}: {type(error).__name__} at {at.filename}:{at.lineno}: {one_line(error, 300)}"
                report.failures.append(said)
                if echo:
                    print(said, flush=True)
            lasted = time.perf_counter() - began
            report.ends[end] += 1
            if lasted > report.slowest[0]:
                report = report._replace(slowest=(lasted, f"case {number} ({end[0]})"))
            if echo and (number + 1 - first) % TELL == 0:
                print(f"{number + 1 - first} cases, {len(report.failures)} failed", flush=True)
            if echo and lasted > SLOW_s:
                print(f"case {number}: {end[0]} took {lasted:.1f} s", flush=True)
    return report


@contextlib.contextmanager
def _made_once() -> Iterator[None]:
    """The tree of commands and the hash of the sources are the same every time, and take longer than most cases."""
    with mock.patch.object(typer.main, "get_command", functools.cache(typer.main.get_command)), \
            mock.patch.object(work, "_code", functools.cache(work._code)):
        yield


def main() -> int:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz.run", description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    chosen = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    began = time.perf_counter()
    report = cases(chosen.seed, chosen.first, chosen.count, echo=True)
    for name in [*TARGETS, "any"]:
        ends = {end: number for (target, end), number in sorted(report.ends.items()) if target == name}
        if ends:
            print(f"{name:<16}" + "  ".join(f"{'status ' * end.isdigit()}{end}: {n}" for end, n in ends.items()))
    print(f"{chosen.count} cases of seed {chosen.seed} in {time.perf_counter() - began:.0f} s, "
          f"{len(report.failures)} failed; slowest {report.slowest[0]:.2f} s, {report.slowest[1]}")
    return 1 if report.failures else 0


if __name__ == "__main__":
    sys.exit(main())
