"""`cuffloop.trend`: readings over hours, under schedules, on two fingers in turn, with failures."""
from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calibrate.schedule.names import find_scenarios, find_schedules
from experiments.front.inputs import LARGEST_SEED, MOST_TICKS, RigLike, bounded, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.readings.chain.chain import USUAL_ESTIMATOR
from experiments.readings.output.estimators import ESTIMATORS, SHAPE
from experiments.safety.faults.catalogue import find_faults
from experiments.trend.dataset import trend_dataset
from experiments.trend.pictures import trend_figures
from experiments.trend.study import Plan, Study, run_study
from experiments.trend.text import trend_json, trend_lines
from experiments.trend.turns import Turns
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.circulation.person_name import is_person, named_person
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray

SHORTEST_min, LONGEST_min = 2.0, 120.0
USUAL_SCHEDULES, USUAL_SCENARIOS = "growing,steady", "quiet,cold"


@dataclass(frozen=True)
class TrendOptions:
    """What is rarely changed of `trend`."""

    estimator: str = USUAL_ESTIMATOR
    turn_min: float = 60.0
    """Length of a finger's turn [min]."""
    day_h: float = 24.0
    """How long two fingers take turns [h]."""


USUAL = TrendOptions()


@dataclass(frozen=True, eq=False, repr=False)
class TrendResult(Result):
    """What `trend` found: `study.rows`, one for each scenario and schedule; `study.day`; `study.harms`."""

    study: Study

    @property
    def file_name(self) -> str:
        """trend."""
        return "trend"

    def lines(self) -> list[str]:
        """Schedules, two fingers in turn, failures."""
        return trend_lines(self.study)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return trend_json(self.study) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """hour_SCENARIO for each, turns, failures."""
        return trend_figures(self.study)

    def to_xarray(self) -> xarray.Dataset:
        """Figures over `scenario` and `schedule`, courses over `time`, one pair of fingers over `hour`."""
        dataset: xarray.Dataset = trend_dataset(self.study, self.attributes())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """JSON, pictures and NetCDF."""
        super().write(folder)
        folder.write_netcdf("trend.nc", self.to_xarray())


@public
def trend(
    rig: RigLike = "wrist", record: str = "person:45f", *, schedules: str | Sequence[str] = USUAL_SCHEDULES,
    scenarios: str | Sequence[str] = USUAL_SCENARIOS, minutes: float = 60.0, faults: str | None = None, seed: int = 1,
    options: TrendOptions = USUAL,
) -> TrendResult:
    """Readings of a virtual person over hours: what schedules leave of output and variation in scenarios.

    A day on two fingers in turn, with the step of the level between them, goes along; failures if they are asked for.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        record: a virtual person, as in `person:45f`.
        schedules: as for `cuffloop.schedules`.
        scenarios: as for `cuffloop.schedules`, those that happen within seconds left out.
        minutes: length of each run [min], 2 … 120.
        faults: failures by name, separated by commas, or `all`; None: none.
        seed: of beats, tone and noise, 0 … 2³² − 1.
        options: estimator and turns, a TrendOptions.

    Returns:
        A TrendResult: `study.rows`, `study.day`, `study.harms`; `plot()` with a figure `hour_SCENARIO` each, `turns`
        and `failures`; `to_xarray()`, `to_json()`, `save(folder)`.

    Raises:
        InputError: a record that is no virtual person, a name that is not known, a number out of range.

    >>> import cuffloop
    >>> row = cuffloop.trend("wrist", schedules="steady", scenarios="quiet", minutes=2).study.rows[0]
    >>> row.schedule, row.gaps_per_h, row.output_rms_percent < 10
    ('steady', 0.0, True)
    """
    made = rig_of(rig)
    if not is_person(record):
        raise InputError(f"--record {record}: readings over hours need a truth; give a virtual person, as in "
                         "person:45f")
    bounded("--minutes", minutes, SHORTEST_min, LONGEST_min, "min")
    bounded("--seed", seed, 0, LARGEST_SEED)
    if options.estimator not in (*ESTIMATORS, SHAPE):
        raise InputError(f"--estimator {options.estimator}: is one of {', '.join((*ESTIMATORS, SHAPE))}")
    bounded("--turn", options.turn_min, 5.0, 720.0, "min")
    bounded("--day", options.day_h, 1.0, 72.0, "h")
    ticks = 60.0 * minutes / made.timing.period_s
    if ticks > MOST_TICKS:
        raise InputError(f"--minutes {minutes:g} are {ticks:.4g} ticks of timing.period_s, more than one run can hold "
                         f"({MOST_TICKS})")
    chosen, told = (text if isinstance(text, str) else ",".join(text) for text in (schedules, scenarios))
    failures = () if faults is None else tuple(find_faults(None if faults == "all" else faults, made))
    plan = Plan(made, record, named_person(record), find_scenarios(told), find_schedules(chosen, Path.cwd()),
                60.0 * minutes, seed, options.estimator, Turns(options.turn_min, options.day_h), failures)
    return TrendResult(run_study(plan, watcher()), told=provenance(seed))
