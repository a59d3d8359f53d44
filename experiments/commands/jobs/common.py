"""What every job does with a result: show progress, write files, print, and turn the verdict into a status."""
from __future__ import annotations

import shutil
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from experiments.front.inputs import Work, raw_with_columns
from experiments.front.result import Result
from experiments.rigs.rig import Rig, load_rig
from experiments.rigs.trust import refuse_when_resumed
from experiments.work.output import OutputFolder, print_json, print_lines
from experiments.work.progress import progress
from plant.errors import InputError
from plant.pressure.record_check import RawRecord

Found = TypeVar("Found", bound=Result)
LINE_s = 30.0  # from one line of progress to the next where there is no terminal


@dataclass(frozen=True, kw_only=True)
class Options:
    """What nearly every command takes: changes of the rig, and where the result goes."""

    setting: list[str] | None = None
    out: Path | None = None
    as_json: bool = False


@dataclass(frozen=True, kw_only=True)
class StudyOptions(Options):
    """The same for a command whose work is handed out."""

    workers: int | None = None
    cluster: str | None = None
    trust: bool = False
    keep: bool = False

    def work(self) -> Work:
        """Where the work is done; a folder for results keeps finished pieces, too. Raises InputError."""
        if self.cluster is not None and self.workers is not None:
            raise InputError(f"--workers {self.workers}: the cluster has its own; leave the option out")
        return Work(self.workers, self.cluster, self.out, self.trust)


def record_from(
    record: str | None, columns: str | None, seconds: float | None, start_s: float = 0.0
) -> str | RawRecord | None:
    """The record of a command line; a CSV file with columns of its own names is read at once. Raises InputError."""
    if columns is None:
        return record
    return raw_with_columns(record, [name.strip() for name in columns.split(",")], seconds, start_s)


def rig_from(name: str, options: Options, kept: str = "") -> Rig:
    """The rig of a command line. Raises InputError.

    `kept` is the folder of a study's finished pieces inside that for results: where a study is there already, a rig
    that names a Python file is refused before it is loaded, unless it is trusted.
    """
    if isinstance(options, StudyOptions) and kept:
        refuse_when_resumed(name, options.setting, options.trust, options.out and options.out / kept)
    return load_rig(name, options.setting)


def deliver(
    options: Options, label: str, compute: Callable[[], Found], also: Callable[[Found], None] | None = None,
    kept: str = "",
) -> int:
    """Compute, write, print. Status 0 for a good verdict, 1 for a bad one; raises InputError.

    `also` writes what goes elsewhere than the folder for results. `kept` is the folder of a study's finished pieces
    inside that for results: all that is in it is in the result now, and it goes, unless it is asked to stay.
    """
    stays = isinstance(options, StudyOptions) and options.keep
    with OutputFolder.open(options.out) as folder:
        with progress_bar(label, options.as_json) as bar, progress(bar):
            result = compute()
        if folder:
            result.write(folder)
        if also is not None:
            also(result)
    if options.as_json:
        print_json(result.document())
    else:
        print_lines(result.lines(), folder, f"; finished pieces in {kept}/" if kept and stays else "")
    if kept and options.out is not None and not stays:
        shutil.rmtree(options.out / kept, ignore_errors=True)
    return 0 if result.passed else 1


@contextmanager
def progress_bar(label: str, quiet: bool) -> Iterator[Callable[[float], None] | None]:
    """A progress bar on standard error when it is a terminal and nothing else was asked for; else lines in it."""
    if quiet or not sys.stderr.isatty():
        with progress_lines(label) as report:
            yield report
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(label, total=1.0)
        yield lambda share: bar.update(task, completed=share)


@contextmanager
def progress_lines(label: str, every_s: float = LINE_s) -> Iterator[Callable[[float], None]]:
    """A line on standard error every so often, for whoever reads a log: how much is done after how long."""
    done, start, over = [0.0], time.monotonic(), threading.Event()

    def report(share: float) -> None:
        done[0] = share

    def tell() -> None:
        while not over.wait(every_s):
            passed = time.monotonic() - start
            print(f"cuffloop: {label}: {100.0 * done[0]:.0f} % after {passed:.0f} s", file=sys.stderr, flush=True)

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield report
    finally:
        over.set()
        teller.join()
