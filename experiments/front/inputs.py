"""What functions of `import cuffloop` take: a rig, a record, requirements, and where the work is done."""
from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from experiments.front.public import public
from experiments.rigs.rig import Rig, Source, parameters_of, read_rig
from experiments.rigs.rig import load_rig as load_named_rig
from experiments.rigs.table import toml_value
from experiments.rigs.trust import refuse_when_resumed
from experiments.work.chunks import fingerprint
from experiments.work.run import Engine, local
from plant.circulation.person_name import driven_tone, is_person, raw_person
from plant.errors import InputError
from plant.messages import value_text
from plant.pressure.record import PressureTrace, pig_available, to_ticks
from plant.pressure.record import read_record as read_raw_record
from plant.pressure.record_check import RawRecord, SHORTEST_s
from plant.pressure.synthetic import SyntheticPressure, synthesise

SYNTHETIC_s = 30.0  # of synthetic pressure when nobody asks for more
LONGEST_s = 86_400.0
LATEST_s = 1e7  # into a record
LARGEST_SEED = 2**32 - 1
MOST_TICKS = 10_000_000  # nearly three hours at 1 kHz, and 3 GB of channels
USUAL_PERIOD_s = 1e-3  # the tick of both built-in rigs

RigLike = str | Path | Rig
RecordLike = str | Path | PressureTrace | RawRecord | None
Settings = Mapping[str, Any] | Sequence[str] | None


@dataclass(frozen=True)
class Work:
    """Where a study is computed, and where its finished pieces are kept. It changes no number."""

    workers: int | None = 1
    """Processes; None: one a core. With more than one, a script's own work stands below
    `if __name__ == "__main__":`, as each process imports the script."""
    cluster: str | None = None
    """Address of a Dask scheduler, as in `tcp://host:8786`, instead of workers."""
    folder: str | Path | None = None
    """Each finished piece is kept there, and the same call goes on from them after an interruption."""
    trust: bool = False
    """Go on with a study that is in the folder though its rig names a Python file, which is then run."""

    def engine(self) -> Engine:
        """Processes of this machine, or the cluster. Raises InputError when both are asked for."""
        workers = None if self.cluster is not None and self.workers == 1 else self.workers
        return engine_of(workers, self.cluster)

    def kept(self, rig: RigLike, name: str) -> Path | None:
        """Folder of finished pieces, of that name inside the one that was given.

        Raises InputError when a study is there and the rig, which was not loaded yet, names a Python file to run.
        """
        folder = None if self.folder is None else Path(self.folder) / name
        if not isinstance(rig, Rig):
            refuse_when_resumed(_named(rig), None, self.trust, folder)
        return folder


HERE = Work()


@public
def load_rig(rig: str | Path = "wrist", settings: Settings = None) -> Rig:
    """A rig by the name of a built-in one (`wrist`, `cabinet`) or by its file (`.toml`), with settings on top.

    `settings` changes single parameters: `{"controller.kp": 0.012, "tube.length_m": 0.3}`, or texts as the command
    takes them, `["controller.kp=0.012"]`. `cuffloop.rigs("wrist")` lists all parameters with unit, bounds and source.
    Raises InputError, which names file, key, value and allowed range.

    >>> import cuffloop
    >>> rig = cuffloop.load_rig("wrist", {"controller.kp": 0.006})
    >>> rig.name, rig.controller.kp
    ('wrist', 0.006)
    """
    return load_named_rig(str(rig), settings_list(settings))


@public
def read_record(
    record: str | Path | None = None, *, seconds: float | None = None, start_s: float = 0.0,
    period_s: float = USUAL_PERIOD_s, seed: int = 1, columns: Sequence[str] | None = None,
) -> PressureTrace:
    """Arterial pressure [mmHg] on ticks of `period_s`, to be given to `check`, `simulate` and the others.

    `record` is a CSV file (`time_s,pressure_mmHg`), a WFDB record (`NAME` or `NAME:CHANNEL`), `synthetic`, a virtual
    person (`person:45f`: finger pressure of an arterial network whose flow is known), or `pig` (a published record;
    needs the package aeon); None: `pig` where it is installed, else `synthetic`. `seconds` of it are taken (None: all;
    of made pressure 30) from `start_s` on; `seed` is that of synthetic beats. `columns` are
    a CSV file's own names of time [s], pressure [mmHg] and, if it has it, usable, as in `("t", "p")`.

    Returns a PressureTrace: `pressure_mmHg` and `usable` of shape (ticks + 1,), `period_s`, `name`, `source`. Raises
    InputError for a record that cannot be used, is shorter than asked for, or has more than ten million ticks.

    >>> import cuffloop
    >>> trace = cuffloop.read_record("synthetic", seconds=8)
    >>> trace.pressure_mmHg.shape, trace.duration_s
    ((8001,), 8.0)
    """
    bounded("--period-s", period_s, 1e-5, 0.02, "s")
    if columns is not None:
        return pressure_of(period_s, raw_with_columns(record, columns, seconds, start_s), seconds, start_s, seed)
    return pressure_of(period_s, record, seconds, start_s, seed)


def raw_with_columns(
    record: str | Path | None, columns: Sequence[str], seconds: float | None, start_s: float
) -> RawRecord:
    """A CSV file whose columns have names of their own, as it was sampled. Raises InputError."""
    if record is None or str(record) in ("pig", "synthetic"):
        raise InputError(f"--columns {','.join(columns)}: name the CSV file that has them with --record")
    return read_raw_record(record, seconds, start_s, columns)


def settings_list(settings: Settings) -> list[str]:
    """Settings as the command line writes them."""
    if settings is None:
        return []
    if isinstance(settings, Mapping):
        return [f"{key}={toml_value(value)}" for key, value in settings.items()]
    if isinstance(settings, str):
        raise InputError(f"settings = {value_text(settings)}: give a dict or a list of such texts")
    return [str(setting) for setting in settings]


def rig_of(rig: RigLike) -> Rig:
    """A rig, loaded where a name or path was given. Raises InputError."""
    return rig if isinstance(rig, Rig) else load_named_rig(_named(rig))


def source_of(rig: RigLike) -> Source:
    """A rig as plain data that can be changed. Raises InputError, also for a rig that was changed in Python."""
    name, *settings = given_of(rig)
    return read_rig(name, settings)


def given_of(rig: RigLike) -> tuple[str, ...]:
    """Name or path of a rig and its settings, from which every worker can load it again.

    Raises InputError for a rig that is no longer what they say.
    """
    if not isinstance(rig, Rig):
        return (_named(rig),)
    if not rig.given or fingerprint(parameters_of(rig)) != fingerprint(parameters_of(load_named_rig(
            rig.given[0], list(rig.given[1:])))):
        raise InputError(f"rig {rig.name}: was changed after it had been loaded, and a study loads it anew in each "
                         "process; make the change in its file, or give it as a setting to load_rig")
    return rig.given


def _named(rig: Any) -> str:
    if not isinstance(rig, (str, Path)):
        raise InputError(f"rig: give a name, a path or a Rig, not {type(rig).__name__}")
    return str(rig)


def bounded(option: str, value: float, low: float, high: float, unit: str = "") -> None:
    """Raise InputError when an option's number is NaN or outside low … high (inclusive)."""
    if not low <= value <= high:
        raise InputError(f"{option} {value:.12g} must be from {low:g} to {high:.12g}{unit and ' '}{unit}")


def engine_of(workers: int | None, address: str | None) -> Engine:
    """Processes of this machine, or a cluster. Raises InputError when both are asked for."""
    if address is None:
        door = sys.modules.get("cuffloop.rooms")  # through it a worker finds our packages, whatever is beside a script
        return local(workers, door.start_worker if door is not None else None)
    if workers is not None:
        raise InputError(f"--workers {workers}: the cluster has its own; leave the option out")
    from experiments.work.cluster import cluster

    return cluster(address)


def pressure_on(rig: Rig, record: RecordLike, seconds: float | None, start_s: float, seed: int) -> PressureTrace:
    """The trace that a function runs on. Raises InputError, also for a trace on other ticks than the rig's."""
    if not isinstance(record, PressureTrace):
        if isinstance(record, str) and is_person(record):
            record = _worn_person(rig, record, SYNTHETIC_s if seconds is None else seconds, start_s, seed)
        return pressure_of(rig.timing.period_s, record, seconds, start_s, seed)
    if seconds is not None or start_s != 0.0:
        raise InputError(f"record {record.name}: is cut already; leave seconds and start_s out, or give them to "
                         "read_record")
    if abs(record.period_s - rig.timing.period_s) > 1e-12:
        own = f"{rig.timing.period_s:.6g}"
        raise InputError(f"record {record.name}: has a tick of {record.period_s:.6g} s and rig {rig.name} one of "
                         f"{own} s; read it with read_record(…, period_s={own})")
    bounded("--seed", seed, 0, LARGEST_SEED)
    return record


def _worn_person(rig: Rig, name: str, seconds: float, start_s: float, seed: int) -> RawRecord | str:
    """The record of a person whose hand goes along with the tone of the rig's finger; its name where that stays."""
    period_s = rig.timing.period_s
    _refuse_too_many_ticks((start_s + seconds) / period_s, name)
    course = driven_tone(name, rig.tone, period_s, seconds, start_s, seed)
    return name if course is None else raw_person(name, max(start_s + seconds, SHORTEST_s), seed, course)


def record_name(record: str | Path | None) -> str:
    """The record that is meant: without one the pig's, or the synthetic one where that is absent."""
    return str(record) if record is not None else ("pig" if pig_available() else "synthetic")


def pressure_of(
    period_s: float, record: str | Path | RawRecord | None, seconds: float | None, start_s: float, seed: int
) -> PressureTrace:
    """A record on ticks of `period_s`. Raises InputError for one that cannot be used, and for more than MOST_TICKS."""
    if seconds is not None:
        bounded("--seconds", seconds, period_s, LONGEST_s, "s")
    bounded("--start", start_s, 0.0, LATEST_s, "s")
    bounded("--seed", seed, 0, LARGEST_SEED)
    if not isinstance(record, RawRecord) and record_name(record) == "synthetic":
        wanted = SYNTHETIC_s if seconds is None else seconds
        _refuse_too_many_ticks((start_s + wanted) / period_s, "synthetic")
        trace = synthesise(SyntheticPressure(), period_s, start_s + wanted, seed)
        first = round(start_s / period_s)
        return trace._replace(pressure_mmHg=trace.pressure_mmHg[first:], usable=trace.usable[first:])
    raw = record if isinstance(record, RawRecord) else raw_record(record_name(record), seconds, start_s, seed)
    length = raw.skipped_s + float(raw.time_s[-1] - raw.time_s[0]) - start_s
    _refuse_too_many_ticks((length if seconds is None else min(seconds, length)) / period_s, raw.name)
    return to_ticks(raw, period_s, seconds, start_s)


def raw_record(name: str, seconds: float | None, start_s: float, seed: int) -> RawRecord:
    """A record as it was sampled; that of a virtual person is made. Raises InputError."""
    if not is_person(name):
        return read_raw_record(name, seconds, start_s)
    wanted = start_s + (SYNTHETIC_s if seconds is None else seconds)
    _refuse_too_many_ticks(wanted / USUAL_PERIOD_s, name)
    return raw_person(name, max(wanted, SHORTEST_s), seed)


def _refuse_too_many_ticks(ticks: float, name: str) -> None:
    if ticks > MOST_TICKS:
        raise InputError(f"{name}: {ticks:.4g} ticks of timing.period_s are more than one run can hold ({MOST_TICKS}); "
                         "take less with --seconds")
