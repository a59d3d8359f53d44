"""`cuffloop.schedules`: calibration schedules compared, lost time against error."""
from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calibrate.schedule.names import ALL, find_scenarios, find_schedules
from experiments.calibration.schedule.dataset import study_dataset
from experiments.calibration.schedule.pictures import study_figures
from experiments.calibration.schedule.study import Plan, Study, run_study
from experiments.calibration.schedule.summary import Summary, summaries
from experiments.calibration.schedule.text import study_json, study_lines
from experiments.front.inputs import HERE, LARGEST_SEED, MOST_TICKS, RigLike, Work, bounded, given_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.rig import load_rig
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray

USUAL_SCENARIOS, USUAL_FINGERS, USUAL_MINUTES = "quiet,cold,pain,hand", 4, 20.0
FULL_SCENARIOS, FULL_FINGERS, FULL_MINUTES = "quiet,cold,warm,pain,waves_strong,hand,pressure,irregular", 50, 60.0
MOST_FINGERS, SHORTEST_min, LONGEST_min = 10_000, 1.0, 120.0
KEPT = "runs"  # folder of finished runs inside the output folder


@dataclass(frozen=True, eq=False, repr=False)
class SchedulesResult(Result):
    """What `schedules` gave: every run in `study`, and a summary for each scenario and schedule."""

    study: Study
    summaries: list[Summary]

    @property
    def file_name(self) -> str:
        """schedules."""
        return "schedules"

    def lines(self) -> list[str]:
        """One line a scenario and schedule, as wide as the terminal allows."""
        return study_lines(self.study, self.summaries)

    def document(self) -> dict[str, Any]:
        """The summaries as plain data."""
        return study_json(self.study, self.summaries) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """frontier, one_finger."""
        return study_figures(self.study, self.summaries)

    def to_xarray(self) -> xarray.Dataset:
        """Every figure over `schedule`, `scenario` and `finger`, courses over `time`."""
        dataset: xarray.Dataset = study_dataset(self.study, self.document())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """JSON, pictures and NetCDF."""
        super().write(folder)
        folder.write_netcdf("schedules.nc", self.to_xarray())


@public
def schedules(
    rig: RigLike = "wrist", schedules: str | Sequence[str] = ALL, *, scenarios: str | Sequence[str] = USUAL_SCENARIOS,
    fingers: int = USUAL_FINGERS, minutes: float = USUAL_MINUTES, group: str = "mixed", seed: int = 1,
    work: Work = HERE,
) -> SchedulesResult:
    """Compare calibration schedules in scenarios of tone and circulation: how much time they lose against their error.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        schedules: some of `never`, `every`, `growing`, `clock`, `signs`, `confirmed`, `steady`, with numbers and look
            if wanted (`every:20`, `growing:12:96+wide`), `FILE.py:Class`; or `all`.
        scenarios: some of `quiet`, `cold`, `pain`, `hand`, `warm`, `drug`, `pressure`, `irregular`, …; or `all`.
        fingers: how many virtual fingers, 1 … 10,000.
        minutes: length of each run [min], 1 … 120.
        group: of the fingers: `mixed`, `young`, `old`, `cold`, `warm`, `low_perfusion`.
        seed: of fingers, beats and noise.
        work: processes, cluster, and a folder from which an interrupted study goes on.

    Returns:
        A SchedulesResult: `summaries`, one for each scenario and schedule (`rms_mmHg`, `lost_share`, …); `to_xarray()`
        over `schedule`, `scenario` and `finger` with units; `plot()` with the figures `frontier` and `one_finger`;
        `to_json()`, `save(folder)`.

    Raises:
        InputError: a name that is not known, a number out of range, a folder of another study.

    >>> import cuffloop
    >>> result = cuffloop.schedules("wrist", "never", scenarios="quiet", fingers=1, minutes=1)
    >>> [(s.scenario, s.schedule) for s in result.summaries]
    [('quiet', 'never')]
    """
    bounded("--fingers", fingers, 1, MOST_FINGERS)
    bounded("--minutes", minutes, SHORTEST_min, LONGEST_min, "min")
    bounded("--seed", seed, 0, LARGEST_SEED)
    chosen, told = (text if isinstance(text, str) else ",".join(text) for text in (schedules, scenarios))
    find_schedules(chosen, Path.cwd())
    kept = work.kept(rig, KEPT)
    name, *settings = given_of(rig)
    ticks = 60.0 * minutes / load_rig(name, settings).timing.period_s
    if ticks > MOST_TICKS:
        raise InputError(f"--minutes {minutes:g} are {ticks:.4g} ticks of timing.period_s, more than one run can hold "
                         f"({MOST_TICKS})")
    plan = Plan(name, tuple(settings), chosen, find_scenarios(told), fingers, group, seed, 60.0 * minutes)
    study = run_study(plan, kept, work.engine(), watcher())
    return SchedulesResult(study, summaries(study), told=provenance(seed))
