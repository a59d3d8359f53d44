"""`cuffloop bench`: a page that answers while a knob is turned."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.bench.server.start import serve
from experiments.bench.setup import Setup, usual_setup
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class BenchOptions:
    """What `cuffloop bench` takes."""

    rigs: list[str]
    record: str | None = None
    requirements: Path | None = None
    seconds: float | None = None
    start: float = 0.0
    seed: int = 1
    setting: list[str] | None = None
    port: int | None = None
    browser: bool = True
    new_key: bool = False
    offline: Path | None = None


def setup_of(options: BenchOptions) -> Setup:
    """What the bench is started with."""
    requirements = None if options.requirements is None else str(options.requirements)
    return usual_setup(*options.rigs)._replace(
        settings=tuple(options.setting or ()), record=options.record, seconds=options.seconds, start_s=options.start,
        requirements=requirements, seed=options.seed,
    )


def bench_job(options: BenchOptions) -> int:
    """`cuffloop bench`: 0 when it was ended by Ctrl-C, or has written a figure that needs no bench.

    Raises InputError for what it cannot start with.
    """
    if options.offline is not None:
        from experiments.bench.offline.job import offline_job

        return offline_job(setup_of(options), options.offline)
    if options.port is not None and not 0 <= options.port <= 65_535:
        raise InputError(f"--port {options.port} must be from 0 to 65535")
    serve(setup_of(options), options.port, options.browser, options.new_key)
    return 0
