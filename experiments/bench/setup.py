"""What a bench is started with: rigs, a pressure record, limits. Plain data, from which any process makes the rest."""
from __future__ import annotations

import functools
from pathlib import Path
from typing import NamedTuple

import numpy as np

from experiments.check.judged import operating_pressures
from experiments.front.inputs import pressure_of, record_name
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import Source, built_in_rigs, read_rig
from plant.pressure.record import PressureTrace

WINDOW_s = 5.0  # of the record that runs while somebody turns a knob
WINDOWS_s = (5.0, 10.0, 20.0)
CHECKED_s = 30.0  # of synthetic pressure under the whole check, as `cuffloop check` takes


class Setup(NamedTuple):
    """What a bench is started with."""

    rigs: tuple[str, ...]  # names of built-in rigs or paths of rig files
    settings: tuple[str, ...] = ()  # on top of each, as `--set` has them
    record: str | None = None
    seconds: float | None = None
    start_s: float = 0.0
    requirements: str | None = None
    seed: int = 1


def usual_setup(*rigs: str) -> Setup:
    """A bench for these rigs and, after them, the built-in ones, on the usual record."""
    return Setup(tuple(dict.fromkeys((*(rigs or ("wrist",)), *built_in_rigs()))))


@functools.lru_cache(maxsize=32)
def source(setup: Setup, rig: str) -> Source:
    """A rig of the bench as plain data. Raises InputError."""
    return read_rig(rig, list(setup.settings) if rig == setup.rigs[0] else None)


@functools.lru_cache(maxsize=8)
def whole_record(setup: Setup, period_s: float) -> PressureTrace:
    """The record on a rig's ticks, as a check takes it. Raises InputError."""
    return pressure_of(period_s, setup.record, setup.seconds, setup.start_s, setup.seed)


@functools.lru_cache(maxsize=16)
def window(setup: Setup, period_s: float, seconds: float) -> PressureTrace:
    """The beginning of the record. Raises InputError."""
    whole = whole_record(setup, period_s)
    samples = min(round(seconds / period_s) + 1, len(whole.pressure_mmHg))
    cut = np.ascontiguousarray(whole.pressure_mmHg[:samples])
    return whole._replace(pressure_mmHg=cut, usable=np.ascontiguousarray(whole.usable[:samples]))


@functools.lru_cache(maxsize=8)
def pressures(setup: Setup, period_s: float) -> dict[str, float]:
    """The arterial pressures at which margins are judged, those of the whole record [mmHg]."""
    return operating_pressures(whole_record(setup, period_s))


@functools.lru_cache(maxsize=8)
def limits(setup: Setup, base: str) -> dict[str, dict[str, float]]:
    """The limits that a rig must keep. Raises InputError."""
    return load_requirements(Path(setup.requirements) if setup.requirements else default_requirements(base))


def record_words(setup: Setup) -> str:
    """The record by its name."""
    return record_name(setup.record)
