"""`cuffloop.faults`: every failure injected, with all protection and without each."""
from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.protection.guards import PROTECTIONS
from experiments.firmware.foreign.watch import given_at
from experiments.front.inputs import HERE, LARGEST_SEED, RigLike, Work, bounded, given_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.rig import load_rig
from experiments.safety.faults.dataset import study_dataset, write_runs_csv
from experiments.safety.faults.pictures import study_figures
from experiments.safety.faults.stories import bounded_story
from experiments.safety.faults.study import Plan, Study, fault_text, prepare, run_study
from experiments.safety.faults.summary import Table, summaries, summary_table
from experiments.safety.faults.text import study_json, study_lines
from experiments.safety.faults.verdict import load_fault_limits
from experiments.subjects.spreads import GROUPS
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray

USUAL_FINGERS, FULL_FINGERS = 4, 200
KEPT = "faults-chunks"


@dataclass(frozen=True)
class FaultOptions:
    """What is less often asked of a study of failures."""

    phases: int = 1
    """Random onsets on each finger."""
    pairs: bool = False
    """Also every two failures together."""
    stories_min: float = 0.0
    """Also every scenario for so many minutes, in search of false alarms."""
    seconds: float = 36.0
    """How long to look after the onset [s], 2 … 600."""
    requirements: str | Path | None = None
    """File of limits; None: the shipped one."""
    firmware: str | Path | None = None
    """A servo of your own instead of the rig's law: a C file, a folder of them or a shared library. The rig's
    protection looks on; failures inside the rig's own law do not apply."""


USUAL = FaultOptions()


@dataclass(frozen=True, eq=False, repr=False)
class FaultsResult(Result):
    """What `faults` gave: one row a run in `study.rows`, and which limits it breaks in `study.breaks`."""

    study: Study

    @cached_property
    def table(self) -> Table:
        """A summary of every failure with all protection, and without each, by (number of the failure, protection)."""
        return summary_table(self.study)

    @property
    def passed(self) -> bool:
        """Whether no failure breaks a limit with all protection in place, no physiology trips one, and no finding."""
        return not any(summary.breaks for summary in summaries(self.table)) and not self.study.findings

    @property
    def file_name(self) -> str:
        """faults."""
        return "faults"

    def lines(self) -> list[str]:
        """By failure, single points of failure, false alarms."""
        return study_lines(self.study, self.table)

    def document(self) -> dict[str, Any]:
        """Everything but the single runs, as plain data."""
        return study_json(self.study, self.table) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """faults, fallback."""
        return study_figures(self.study, self.table)

    def to_xarray(self) -> xarray.Dataset:
        """Every run along `run`."""
        plan, told = self.study.plan, self.told
        attributes = {"rig": load_rig(plan.rig, list(plan.settings)).name, "command": told["provenance"]["command"],
                      "seed": str(plan.seed), "cuffloop": told["provenance"]["cuffloop"], "caution": told["caution"]}
        dataset: xarray.Dataset = study_dataset(self.study, attributes)
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """JSON, CSV, NetCDF and pictures."""
        folder.write_json("faults.json", self.document())
        folder.write("faults.csv", lambda path: write_runs_csv(path, self.study))
        folder.write_netcdf("faults.nc", self.to_xarray())
        folder.write_figures(self.pictures())


@public
def faults(
    rig: RigLike = "wrist", names: str | Sequence[str] = (), *, fingers: int = USUAL_FINGERS, group: str = "mixed",
    without: str | Sequence[str] | None = None, seed: int = 1, options: FaultOptions = USUAL, work: Work = HERE,
) -> FaultsResult:
    """Inject failures into a clamp, with all protection and without each; which limits does each run break?

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        names: failures, as in `valve_stuck_open`, with `:0.5` for half the severity; none: all of the catalogue
            (`cuffloop faults --list`).
        fingers: how many virtual fingers, 1 … 20,000.
        group: of the fingers: `mixed`, `young`, `old`, `cold`, `warm`, `low_perfusion`.
        without: protections to take away in turn, `none` for none of them; None: each.
        seed: of fingers, onsets and noise.
        options: onsets, pairs, scenarios, seconds and requirements, as a `FaultOptions`.
        work: processes, cluster, and a folder from which an interrupted study goes on.

    Returns:
        A FaultsResult: `passed`, whether everything is contained with all protection; `table`, a summary of each
        failure; `study.rows` of shape (runs, columns); `to_xarray()` along `run` with units; `plot()` with the figures
        `faults` and `fallback`; `to_json()`, `save(folder)`.

    Raises:
        InputError: a name that is not known, a number out of range, a folder of another study.

    >>> import cuffloop
    >>> result = cuffloop.faults("wrist", "valve_stuck_open", fingers=1, without="none")
    >>> result.passed, result.to_xarray().sizes["run"]
    (True, 1)
    """
    bounded("--seconds", options.seconds, 2.0, 600.0, "s")
    bounded("--seed", seed, 0, LARGEST_SEED)
    engine = work.engine()
    if group not in GROUPS:
        raise InputError(f"--group {group} is not known; use one of {', '.join(GROUPS)}")
    limits = load_fault_limits(Path(options.requirements) if options.requirements else None)
    protections = PROTECTIONS if without is None else tuple(w for w in _words(without) if w != "none")
    kept = work.kept(rig, KEPT)
    name, *settings = given_of(rig)
    plan = Plan(name, tuple(settings), tuple(_words(names, keep_empty=True)), fingers, options.phases, group, seed,
                options.pairs, protections, options.seconds, limits, bounded_story(options.stories_min),
                None if options.firmware is None else given_at(Path(options.firmware)))
    if plan.firmware is not None and plan.story is not None:
        raise InputError(f"--stories {options.stories_min:g}: scenarios are told of the rig's own law; leave one of "
                         "--stories and --firmware out")
    if plan.firmware is not None and work.cluster is not None:
        raise InputError(f"--cluster {work.cluster}: a firmware of your own runs on this machine; leave it out")
    chosen, _ = prepare(plan)
    plan = plan._replace(faults=tuple(fault_text(fault) for fault in chosen))
    study = run_study(plan, kept, engine, watcher())
    return FaultsResult(study, told=provenance(seed))


def _words(texts: str | Sequence[str], keep_empty: bool = False) -> list[str]:
    words = (texts.split(",") if texts else []) if isinstance(texts, str) else list(texts)
    return words if keep_empty else [word.strip() for word in words if word.strip()]
