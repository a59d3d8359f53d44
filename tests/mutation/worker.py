"""Runs tests in a scratch copy, a forked process each: heavy libraries are imported once.

One line of JSON in (`tests`, `leave_out`, `seconds`), one out. With `interpreted` as its argument nothing is compiled:
the kernel then runs as the Python that it is written in, and a change of the source costs no compilation.
"""
from __future__ import annotations

import ast
import builtins
import importlib
import importlib.machinery
import json
import math
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import pytest

HEAVY = (
    "numpy", "scipy.linalg", "scipy.optimize", "scipy.signal", "scipy.integrate", "scipy.interpolate", "numba",
    "numba.extending", "pydantic", "hypothesis", "hypothesis.strategies", "_pytest.assertion", "pytest", "control",
)
OUTSIDE_DOMAIN = ("round", "math.floor", "math.sqrt", "math.log", "math.log10", "math.exp", "math.acos", "math.asin")
WAITING = 20.0  # times the processor time, on a machine that does other things too
NOT_THE_SAME = ("ZeroDivisionError", "OverflowError")  # compiled code makes an infinity where the interpreter raises


def plain(function: Any = None, **options: Any) -> Any:
    """Stands in for `numba.njit`: the function itself, with the attributes of a dispatcher that are asked for."""
    if function is None:
        return plain
    function.py_func, function.enable_caching, function.signatures = function, lambda: None, []
    return function


def divided(above: Any, below: Any) -> Any:
    """A quotient as compiled code has it: infinite or not a number where the interpreter raises."""
    try:
        return above / below
    except ZeroDivisionError:
        import numpy

        with numpy.errstate(all="ignore"):
            return numpy.divide(above, below)


def tried(function: Any, *given: Any) -> Any:
    """A function of one number as compiled code has it, outside its domain too."""
    try:
        return function(*given)
    except ValueError:
        return math.nan
    except OverflowError:
        return given[0] if function in (round, math.floor) else math.inf


class AsCompiled(ast.NodeTransformer):
    """Writes a/b as divided(a, b), math.f(x) and round(x) as tried(f, x)."""

    def visit_BinOp(self, node: ast.BinOp) -> ast.expr:
        """One quotient, and those inside it."""
        self.generic_visit(node)
        if not isinstance(node.op, ast.Div):
            return node
        call = ast.Call(ast.Name("__divided__", ast.Load()), [node.left, node.right], [])
        return ast.fix_missing_locations(ast.copy_location(call, node))

    def visit_Call(self, node: ast.Call) -> ast.expr:
        """One call, and those inside it."""
        self.generic_visit(node)
        if not node.keywords and ast.unparse(node.func) in OUTSIDE_DOMAIN:
            call = ast.Call(ast.Name("__tried__", ast.Load()), [node.func, *node.args], [])
            return ast.fix_missing_locations(ast.copy_location(call, node))
        return node


def interpret() -> None:
    """From here on kernels are Python: what they compile is left alone, and they divide as compiled code does."""
    import numba

    numba.njit = plain
    builtins.__divided__, builtins.__tried__ = divided, tried  # type: ignore[attr-defined]
    loader, here = importlib.machinery.SourceFileLoader, os.getcwd()
    before = loader.source_to_code

    def source_to_code(self: Any, data: Any, path: Any, **options: Any) -> Any:
        if isinstance(data, bytes) and os.path.relpath(str(path), here).split(os.sep)[0] in ("plant", "controller"):
            data = AsCompiled().visit(ast.parse(data))
        return before(self, data, path, **options)

    loader.source_to_code = source_to_code  # type: ignore[method-assign, assignment]
    sys.pycache_prefix = os.path.join(here, ".interpreted")


class Record:
    """A pytest plugin: outcome and processor seconds of each test, and what the first failure was."""

    def __init__(self, answer: Path, longest_s: float) -> None:
        self.answer, self.failure, self.clock, self.longest_s = answer, "", time.process_time(), longest_s
        self.tests: dict[str, tuple[str, float]] = {}

    def keep(self, code: int) -> None:
        """Write what is known so far."""
        self.answer.write_text(json.dumps({"code": code, "failure": self.failure, "tests": self.tests}))

    def pytest_sessionstart(self) -> None:
        """After conftest, before any test file: the same examples each time, and the first that fails is enough."""
        from hypothesis import Phase, settings

        settings.register_profile("mutation", phases=(Phase.explicit, Phase.generate), derandomize=True, database=None,
                                  deadline=None)
        settings.load_profile("mutation")

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_setup(self) -> Any:
        """What takes longer than it may is interrupted, where that is asked for."""
        return (yield from self.limited())

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self) -> Any:
        """The test itself likewise."""
        return (yield from self.limited())

    def limited(self) -> Any:
        """Within the time."""
        signal.setitimer(signal.ITIMER_VIRTUAL, self.longest_s)
        try:
            return (yield)
        finally:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)

    def pytest_runtest_logreport(self, report: Any) -> None:
        before = self.tests.get(report.nodeid, ("passed", 0.0))
        bad = report.outcome if report.outcome != "passed" else before[0]
        self.tests[report.nodeid] = (bad, before[1] + time.process_time() - self.clock)
        self.clock = time.process_time()
        if report.when == "teardown":
            self.keep(-1)

    def pytest_exception_interact(self, node: Any, call: Any, report: Any) -> None:
        self.failure = self.failure or f"{call.excinfo.typename} in {node.nodeid}"


class TooSlow(BaseException):
    """Not an Exception: Hypothesis would try again."""


def interrupted(*_: Any) -> None:
    """Ends a test that has taken too long."""
    raise TooSlow


def run_tests(job: dict[str, Any], answer: Path) -> None:
    """In the forked process: one pytest session; its record is written to `answer`."""
    sys.path.insert(0, os.getcwd())
    resource.setrlimit(resource.RLIMIT_CPU, (job["seconds"], job["seconds"]))
    null = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(null, stream)
    arguments = [*job["tests"], "-q", "--tb=native"]
    arguments += [word for name in ("cacheprovider", "xdist", "cov", "benchmark") for word in ("-p", f"no:{name}")]
    arguments += [word for name in job["leave_out"] for word in ("--deselect", name)]
    signal.signal(signal.SIGVTALRM, interrupted)
    record = Record(answer, job["longest"])
    record.keep(int(pytest.main(arguments + (["-x"] if job["first"] else []), plugins=[record])))


def answer_to(job: dict[str, Any]) -> dict[str, Any]:
    """Fork, let it have the job's seconds of processor time, and say what came of it."""
    place = Path(tempfile.mkdtemp(prefix="cuffloop-mutation-"))
    answer, began = place / "answer.json", time.monotonic()
    os.environ["CUFFLOOP_CACHE_DIR"] = str(place / "compiled")
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        try:
            run_tests(job, answer)
        finally:
            os._exit(0)
    try:
        while os.waitpid(child, os.WNOHANG)[0] == 0:
            if time.monotonic() - began > WAITING * job["seconds"]:  # it waits for something
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                break
            time.sleep(0.02)
        nothing = {"code": -1, "failure": "", "tests": {}}
        try:
            found: dict[str, Any] = {**nothing, **json.loads(answer.read_text())}
        except (OSError, ValueError):  # ended before or while it was written
            found = nothing
        if found["code"] == -1:
            found["failure"] = found["failure"] or "died or ran out of time"
        return found
    finally:
        shutil.rmtree(place, ignore_errors=True)


def main() -> None:
    """Serve jobs from standard input until it ends."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for name in HEAVY:
        importlib.import_module(name)
    if "interpreted" in sys.argv[1:]:
        interpret()
    for line in sys.stdin:
        print(json.dumps(answer_to(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
