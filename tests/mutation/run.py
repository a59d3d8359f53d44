"""Mutation score of rooms: how many of a sample of small changes of the source do its tests notice?

    python tests/mutation/run.py --sample 300 --seed 1            # plant/ and controller/
    python tests/mutation/run.py --sample 300 --seed 1 --again    # after work on tests: the survivors only

Sampled evenly from all mutants (`mutants.py`). A mutant of plant/air.py is shown to tests/plant/test_air.py and to the
files of tests/outside that import it: first as Python without compilation, which is quick, leaving out tests that then
fail or take long on the sound source; a survivor then compiled, to those that were left out. What is only seen by the
compiler is compiled at once. Without compilation, several times the usual time counts as noticed. Results are kept as
they come (`--cache`), and a second run goes on from there.
"""
from __future__ import annotations

import argparse
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from mutants import Mutant, mutants
from worker import NOT_THE_SAME

TOP = Path(__file__).resolve().parents[2]
LONGEST_s, FILE_s, BASELINE_s = 4.0, 8.0, 25  # processor time without compilation: a test, all of a file, trying it
COMPILED_s = 400  # of one file; beyond, nothing was noticed
COMPILED = ("plant/numerics/vector.py", "plant/declare.py")  # whose work is compilation
UNCLEAR = "raised where compiled code goes on"
EQUIVALENT = Path(__file__).with_name("equivalent.txt")


def tests_of(file: str, top: Path) -> list[str]:
    """The mirrored test file, then the files of tests/outside that import this one."""
    module = file.removesuffix(".py").replace("/", ".")
    room, name = module.rsplit(".", 1)
    asked = re.compile(rf"^\s*(from {re.escape(module)} import|import {re.escape(module)}\b"
                       rf"|from {re.escape(room)} import [^\n]*\b{name}\b)", re.M)
    files = sorted((top / "tests" / "outside").rglob("test_*.py"))
    outside = [path for path in files if asked.search(path.read_text(encoding="utf-8"))]
    mirrored = Path("tests") / Path(file).parent / f"test_{Path(file).name}"
    return [str(mirrored), *(str(path.relative_to(top)) for path in outside)]


class Worker:
    """One process that runs tests in the scratch copy."""

    def __init__(self, scratch: Path, mode: str) -> None:
        self.scratch, self.mode = scratch, mode
        self.process = self.start()

    def start(self) -> subprocess.Popen[str]:
        """A fresh process."""
        program = [sys.executable, str(Path(__file__).with_name("worker.py")), self.mode]
        return subprocess.Popen(program, cwd=self.scratch, env={**os.environ, "PYTHONPATH": str(self.scratch)},
                                text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def ask(self, tests: list[str], leave_out: list[str], seconds: int, first: bool = True) -> dict[str, Any]:
        """What came of these tests. A process that was killed is started anew, twice."""
        job = {"tests": tests, "leave_out": leave_out, "seconds": seconds, "first": first,
               "longest": 0.0 if first else LONGEST_s}
        for _ in range(3):
            assert self.process.stdin and self.process.stdout
            try:
                self.process.stdin.write(json.dumps(job) + "\n")
                self.process.stdin.flush()
                line = self.process.stdout.readline()
            except BrokenPipeError:
                line = ""
            if line:
                answer: dict[str, Any] = json.loads(line)
                return answer
            print(f"    worker ended with {self.process.wait()}, started anew", flush=True)
            self.process = self.start()
        raise RuntimeError(f"the worker that runs {tests} ends at once")

    def close(self) -> None:
        """No more jobs."""
        assert self.process.stdin
        self.process.stdin.close()
        self.process.wait()


class Bench:
    """A scratch copy of the sources with its workers, and what tests do there on the sound source."""

    def __init__(self, scratch: Path, cache: Path) -> None:
        self.scratch, self.cache = scratch, cache
        kept = shutil.ignore_patterns("__pycache__", ".*", "*.egg-info", "build", "dist")
        shutil.copytree(TOP, scratch, ignore=kept, dirs_exist_ok=True)
        self.workers: dict[str, Worker] = {}
        self.quickly: dict[str, list[str]] = {}
        self.usual: dict[str, float] = {}
        self.stamp = 2_000_000_000

    def worker(self, mode: str) -> Worker:
        """The one of this mode, started when first asked for."""
        if mode not in self.workers:
            self.workers[mode] = Worker(self.scratch, mode)
        return self.workers[mode]

    def write(self, file: str, source: str) -> None:
        """A source with a time stamp of its own: Python's byte code cache goes by it."""
        path = self.scratch / file
        path.write_text(source, encoding="utf-8")
        self.stamp += 2
        os.utime(path, (self.stamp, self.stamp))

    def quick(self, test: str) -> list[str]:
        """The tests of a file that pass on the sound source without compilation, in reasonable time."""
        if test not in self.quickly:
            known = self.worker("interpreted").ask([test], [], BASELINE_s, first=False)["tests"]
            good = {name: took for name, (how, took) in known.items() if how == "passed" and took <= LONGEST_s}
            while sum(good.values()) > FILE_s:
                del good[max(good, key=lambda name: good[name])]
            self.quickly[test], self.usual[test] = list(good), sum(good.values())
            print(f"    {test}: {len(good)} of {len(known)} tests without compilation", flush=True)
        return self.quickly[test]

    def interpreted(self, test: str) -> str:
        """What of a file notices the source as it now is, without compilation."""
        if not self.quickly[test]:
            return ""
        answer = self.worker("interpreted").ask(self.quickly[test], [], 10 + int(4.0 * self.usual[test]))
        if answer["code"] == 0:
            return ""
        if answer["failure"].startswith(NOT_THE_SAME):
            return UNCLEAR
        return f"{answer['failure'] or 'not importable'} (interpreted)"

    def compiled(self, test: str, leave_out: list[str]) -> str:
        """What of a file, but for some tests, notices the source as it now is when it is compiled."""
        answer = self.worker("compiled").ask([test], leave_out, COMPILED_s)
        nothing = answer["code"] in (0, 5) or (answer["code"] == -1 and "out of time" in answer["failure"])
        return "" if nothing else f"{answer['failure'] or 'not importable'} (compiled)"

    def noticed(self, mutant: Mutant, source: str, compile_too: bool) -> str:
        """The failure by which the tests notice a mutant; empty when they do not."""
        tests = tests_of(mutant.file, self.scratch)[: None if compile_too else 1]
        only_compiled = mutant.compiler_only or mutant.file in COMPILED
        shown: dict[str, list[str]] = {test: [] for test in tests}
        try:
            for test in tests if not only_compiled else []:
                shown[test] = self.quick(test)
                self.write(mutant.file, mutant.of(source))
                found = self.interpreted(test)
                self.write(mutant.file, source)
                if found == UNCLEAR:
                    shown[test] = []
                elif found:
                    return found
            self.write(mutant.file, mutant.of(source))
            for test in tests if compile_too or only_compiled else []:
                if found := self.compiled(test, shown[test]):
                    return found
            return ""
        finally:
            self.write(mutant.file, source)

    def close(self) -> None:
        """End the workers, remove the copy."""
        for worker in self.workers.values():
            worker.close()
        shutil.rmtree(self.scratch, ignore_errors=True)


def population(rooms: list[str]) -> list[tuple[Mutant, str]]:
    """Every mutant of some rooms (or single files), with its source."""
    found = []
    for room in rooms:
        paths = sorted((TOP / room).rglob("*.py")) if (TOP / room).is_dir() else [TOP / room]
        for path in paths:
            source, file = path.read_text(encoding="utf-8"), str(path.relative_to(TOP))
            if path.name != "__init__.py":
                found += [(mutant, source) for mutant in mutants(file, source)]
    return found


def equivalents() -> dict[str, str]:
    """Mutants that change nothing anyone could see, with the reason; the text is that of `str(mutant)` without line."""
    lines = EQUIVALENT.read_text(encoding="utf-8").splitlines() if EQUIVALENT.is_file() else []
    pairs = [line.split(" | ", 1) for line in lines if line and not line.startswith("#")]
    return {name.strip(): reason.strip() for name, reason in pairs}


def named(mutant: Mutant, source: str) -> str:
    """A mutant by what it changes: file, kind, the line as it stands with the change marked."""
    line = source.splitlines()[mutant.line - 1]
    column = mutant.start - (source.rfind("\n", 0, mutant.start) + 1)
    end = min(column + mutant.end - mutant.start, len(line))
    return f"{mutant.file}: {line[:column].lstrip()}⟦{line[column:end]} → {mutant.after}⟧{line[end:]}"


def summary(chosen: list[tuple[Mutant, str]], results: dict[str, str]) -> str:
    """Score, score by kind, survivors, and the equivalent mutants with their reasons."""
    excused = equivalents()
    missed, equal, lines = [], [], []
    kinds: Counter[str] = Counter()
    caught: Counter[str] = Counter()
    for mutant, source in chosen:
        kinds[mutant.kind] += 1
        if results[mutant.key(source)]:
            caught[mutant.kind] += 1
        elif named(mutant, source) in excused:
            equal.append((mutant, source))
        else:
            missed.append((mutant, source))
    total, good = len(chosen), sum(caught.values())
    lines += [f"survived: {m.file}:{m.line} {m.kind}\n    {named(m, s)}" for m, s in sorted(missed)]
    lines += [f"equivalent: {named(m, s)}\n    {excused[named(m, s)]}" for m, s in sorted(equal)]
    lines += [f"{kind}: {caught[kind]} of {number}" for kind, number in sorted(kinds.items())]
    lines.append(f"{good} of {total} mutants noticed: {100 * good / max(total, 1):.1f} %; {len(equal)} equivalent; "
                 f"{100 * good / max(total - len(equal), 1):.1f} % of the others")
    return "\n".join(lines)


def main() -> None:
    """Sample, run what has no result yet, print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("rooms", nargs="*", default=["plant", "controller"], help="rooms, or single files")
    parser.add_argument("--sample", type=int, default=300, help="mutants, drawn evenly; 0: all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--again", action="store_true", help="run earlier survivors again")
    parser.add_argument("--cache", type=Path, default=TOP / ".mutation", help="folder of results")
    parser.add_argument("--listed", action="store_true", help="print the sample and what is known, run nothing")
    parser.add_argument("--quick", action="store_true",
                        help="mirrored tests only, nothing compiled that can do without: a lower bound")
    given = parser.parse_args()
    everything = population(given.rooms)
    number = min(given.sample or len(everything), len(everything))
    chosen = random.Random(given.seed).sample(everything, number)
    print(f"{number} of {len(everything)} mutants, seed {given.seed}", flush=True)
    given.cache.mkdir(parents=True, exist_ok=True)
    store = given.cache / "results.jsonl"
    results: dict[str, str] = {}
    for line in store.read_text(encoding="utf-8").splitlines() if store.is_file() else []:
        results.update([json.loads(line)])
    excused = equivalents()
    waiting = [
        (m, s) for m, s in chosen
        if m.key(s) not in results or (given.again and not results[m.key(s)] and named(m, s) not in excused)
    ]
    if not given.listed and waiting:
        bench = Bench(Path(tempfile.mkdtemp(prefix="cuffloop-mutants-")), given.cache)
        try:
            for count, (mutant, source) in enumerate(waiting, 1):
                key = mutant.key(source)
                results[key] = bench.noticed(mutant, source, not given.quick)
                with store.open("a", encoding="utf-8") as file:
                    file.write(json.dumps([key, results[key]]) + "\n")
                print(f"{count}/{len(waiting)} {mutant}: {results[key] or 'SURVIVED'}", flush=True)
        finally:
            bench.close()
    print(summary([(m, s) for m, s in chosen if m.key(s) in results], results))


if __name__ == "__main__":
    main()
