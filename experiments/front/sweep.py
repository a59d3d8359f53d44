"""`cuffloop.sweep`: margins, and tracking if asked, at every point of some axes."""
from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.design.sweep.axes import FINGER, Axis, grid_points, parse_axes, sample_points
from experiments.design.sweep.dataset import study_dataset
from experiments.design.sweep.pictures import study_figures
from experiments.design.sweep.piece import Case
from experiments.design.sweep.study import Plan, Study, run_study
from experiments.design.sweep.text import study_json, study_lines
from experiments.design.sweep.verdict import Limit, limits_of, value_word
from experiments.front.inputs import (
    HERE,
    LARGEST_SEED,
    RecordLike,
    RigLike,
    SYNTHETIC_s,
    Work,
    bounded,
    given_of,
    pressure_on,
    raw_record,
    record_name,
    source_of,
)
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import Source
from experiments.subjects.finger import Finger
from experiments.subjects.population import find_finger
from experiments.subjects.table import chosen_fingers, finger_of_table, is_table
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.circulation.person_name import is_person
from plant.errors import InputError
from plant.pressure.record import PressureTrace
from plant.pressure.record_check import RawRecord

if TYPE_CHECKING:
    import xarray

SHORTEST_s = 8.0  # of a finger's own pressure: the clamp must settle, and some beats must count
MOST_FINGERS = 100_000
KEPT = "sweep-chunks"
Axes = Mapping[str, Any] | Sequence[str]


@dataclass(frozen=True)
class SweepOptions:
    """What is less often asked of a sweep."""

    group: str | None = None
    """Group or table (`.csv`) that the fingers come from; None: mixed."""
    seconds: float | None = None
    """Only so much of the record or of the fingers' own pressure [s]."""
    requirements: str | Path | None = None
    """File of limits; None: the one that ships with the rig."""
    seed: int = 1
    """Of the fingers, of a sample's points, and of all noise."""


USUAL = SweepOptions()


@dataclass(frozen=True, eq=False, repr=False)
class SweepResult(Result):
    """What `sweep` gave: every figure of every point in `study`, and the limits that it was held against."""

    study: Study
    limits: list[Limit]
    options: list[str]  # of the command that runs one point alone

    @property
    def passed(self) -> bool:
        """Whether some point keeps all limits."""
        return bool(self.document()["points_that_keep_all"])

    @property
    def file_name(self) -> str:
        """sweep."""
        return "sweep"

    def lines(self) -> list[str]:
        """Every point of a short sweep, the best, and what could not be had."""
        return study_lines(self.study, self.limits, self.options)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return study_json(self.study, self.limits, self.options) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """One, two or more axes: curves, maps, or clouds of a sample."""
        return study_figures(self.study, self.limits)

    def to_xarray(self) -> xarray.Dataset:
        """Every figure over the axes and, with a population, `finger`."""
        dataset: xarray.Dataset = study_dataset(self.study, self.limits, self.document())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """NetCDF, JSON and pictures."""
        folder.write_netcdf("sweep.nc", self.to_xarray())
        super().write(folder)


@public
def sweep(
    rig: RigLike = "wrist", axes: Axes = (), *, fingers: int | str | None = None, record: RecordLike = None,
    simulated: bool = False, sample: int | None = None, options: SweepOptions = USUAL, work: Work = HERE,
) -> SweepResult:
    """Margins of a rig, and tracking if it is to be simulated, at every point of some axes; which points keep limits.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        axes: values by parameter, `{"controller.kp": [0.006, 0.008], "tube.length_m": (0.1, 0.5, 9)}`: a list holds
            the values, a tuple `(low, high, count)` or `(low, high, count, "log")` spans a range; or texts as the
            command takes them, `["controller.kp=0.004:0.014:11"]`. `finger.PART.KEY` is a parameter of the finger.
        fingers: try each point on so many virtual fingers, or on the one of that name; None: the rig's own finger.
        record: arterial pressure on the rig's own finger; virtual fingers have their own.
        simulated: run each point, too; else margins only.
        sample: take so many low-discrepancy points of the ranges instead of their grid.
        options: group of the fingers, seconds, requirements and seed, as a `SweepOptions`.
        work: processes, cluster, and a folder from which an interrupted study goes on.

    Returns:
        A SweepResult: `study.figures` of shape (points, fingers or 1, figures), `study.names` their names;
        `to_xarray()` over the axes and `finger` with units; `passed`, whether a point keeps all limits; `plot()`
        draws curves or maps; `to_json()`, `save(folder)`.

    Raises:
        InputError: an axis that a rig does not have, a value out of range, more than a million points, no point at all
            that can be had, a folder of another study.

    >>> import cuffloop
    >>> result = cuffloop.sweep("wrist", {"controller.kp": (0.004, 0.012, 3)}, record="synthetic")
    >>> result.to_xarray()["phase_margin_deg"].sizes, result.units["phase_margin_deg"]
    (Frozen({'controller.kp': 3}), '°')
    """
    kept = work.kept(rig, KEPT)
    source, seed = source_of(rig), options.seed
    people = people_of(fingers, options.group, seed)
    parsed = parse_axes(axis_texts(axes), source, bool(people))
    points = grid_points(parsed) if sample is None else sample_points(parsed, sample, seed)
    limits = load_requirements(Path(options.requirements) if options.requirements else
                               default_requirements(source.base))
    bounded("--seed", seed, 0, LARGEST_SEED)
    trace, raw = pressure_given(source, record, parsed, bool(people), options)
    names = tuple(axis.name for axis in parsed)
    case = Case(source, names, simulated, trace, raw, options.seconds or SYNTHETIC_s, 0.0, seed)
    plan = Plan(case, tuple(parsed), tuple(points), tuple(people), sample is not None)
    study = run_study(plan, kept, work.engine(), watcher())
    return SweepResult(study, limits_of(study, limits), _command_options(given_of(rig), simulated, options),
                       told=provenance(seed))


def axis_texts(axes: Axes) -> list[str]:
    """Axes as the command line writes them. Raises InputError."""
    if not isinstance(axes, Mapping):
        return [axes] if isinstance(axes, str) else [str(axis) for axis in axes]
    return [f"{name}={_values_text(name, values)}" for name, values in axes.items()]


def _values_text(name: str, values: Any) -> str:
    if isinstance(values, str):
        return values
    if isinstance(values, tuple):
        if not (2 <= len(values) <= 4 and (len(values) < 4 or values[3] == "log")):
            raise InputError(f"axis {name}: a tuple is (low, high), (low, high, count) or (low, high, count, 'log'); "
                             "a list holds single values")
        return ":".join(value_word(value) for value in values)
    try:
        return ",".join(value_word(getattr(value, "item", lambda value=value: value)()) for value in values)
    except TypeError:
        raise InputError(f"axis {name}: give a list of values or a tuple (low, high, count)") from None


def pressure_given(
    source: Source, record: RecordLike, axes: Sequence[Axis], population: bool, options: SweepOptions
) -> tuple[PressureTrace | None, RawRecord | None]:
    """The record on ticks, and as it was sampled, so that another tick can be swept; neither with fingers' own."""
    own_pressure = population or any(axis.name.startswith((f"{FINGER}.pressure", f"{FINGER}.wearer")) for axis in axes)
    if own_pressure:
        if record not in (None, "synthetic"):
            raise InputError(f"--record {getattr(record, 'name', record)}: every finger here has its own pressure; "
                             "leave the option out")
        if options.seconds is not None:
            bounded("--seconds", options.seconds, SHORTEST_s, 3600.0, "s")
        return None, None
    if isinstance(record, PressureTrace):
        return pressure_on(source.rig(), record, options.seconds, 0.0, options.seed), None
    raw = record if isinstance(record, RawRecord) else None
    name = "" if raw is not None else record_name(record)  # type: ignore[arg-type]
    trace = pressure_on(source.rig(), raw if raw is not None else name, options.seconds, 0.0, options.seed)
    if name == "synthetic":
        return trace, None
    return trace, raw if raw is not None else raw_record(name, options.seconds if is_person(name) else None, 0.0,
                                                         options.seed)


def people_of(fingers: int | str | None, group: str | None, seed: int) -> list[Finger]:
    """The population, the one finger that is named, or nobody."""
    if isinstance(fingers, str):
        if group is not None and not is_table(group):
            raise InputError(f"--finger {fingers}: names one finger; leave --fingers and --group out")
        return [finger_of_table(fingers, group) if group else find_finger(fingers)]
    if fingers is None:
        if group is not None:
            raise InputError(f"--group {group}: say how many with --fingers")
        return []
    bounded("--fingers", fingers, 1, MOST_FINGERS)
    return chosen_fingers(fingers, group or "mixed", seed)


def _command_options(given: tuple[str, ...], simulated: bool, options: SweepOptions) -> list[str]:
    """What of a sweep the command needs that runs one of its points alone."""
    name, *settings = given
    return [name, *(word for setting in settings for word in ("--set", setting)),
            *(["--simulate"] if simulated else []),
            *(["--seconds", f"{options.seconds:g}"] if options.seconds is not None else []),
            *(["--group", str(options.group)] if is_table(options.group) else [])]
