"""`cuffloop.search` on one finger, `cuffloop.searches` on many: how well a set point is found."""
from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calibrate.search.confirmation import Confirmation
from calibrate.search.strategies import ALL, USUAL, Strategy, load_strategies
from experiments.calibration.search.study import PARTS, Plan, Study, run_study
from experiments.calibration.search.trial import Trial, finger_trial, record_trial, usual_substeps
from experiments.firmware.foreign.findings import Finding
from experiments.firmware.foreign.session import Sessions
from experiments.front.inputs import (
    HERE,
    LARGEST_SEED,
    RecordLike,
    RigLike,
    Work,
    bounded,
    given_of,
    pressure_on,
    rig_of,
)
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.rig import Rig, load_rig
from experiments.simulation.instrument import instrument_of
from experiments.simulation.session import Session
from experiments.simulation.set_point import Sessions as MakesSessions
from experiments.subjects.population import find_finger
from experiments.subjects.spreads import GROUPS
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.errors import InputError

if TYPE_CHECKING:
    import xarray

USUAL_SEED, USUAL_GROUP = 1, "mixed"
USUAL_NUMBER = 11  # of the finger that is shown when none is named: on it the classroom rule errs as it mostly does
MOST_SUBSTEPS = 1000
MOST_FINGERS = 100_000


@dataclass(frozen=True, eq=False, repr=False)
class SearchResult(Result):
    """What `search` gave: one search with all that it asked and saw, and the truth beside it."""

    trial: Trial
    findings: tuple[Finding, ...] = ()  # in somebody's own firmware, where that was asked

    @property
    def passed(self) -> bool:
        """Whether a set point was found, without a finding."""
        return self.trial.calibration.found is not None and not self.findings

    @property
    def file_name(self) -> str:
        """search."""
        return "search"

    def lines(self) -> list[str]:
        """Its steps, what was found, and the truth."""
        from experiments.calibration.search.trial_text import search_lines

        return [*(f"FINDING {finding.kind}: {finding.text}" for finding in self.findings), *search_lines(self.trial)]

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        from experiments.calibration.search.trial_text import search_json

        told = {"findings": [finding.__dict__ for finding in self.findings]} if self.findings else {}
        return search_json(self.trial) | told | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """search."""
        from experiments.calibration.search.trial_pictures import search_figure

        return {"search": lambda: search_figure(self.trial)}

    def to_xarray(self) -> xarray.Dataset:
        """Every tick over `time_s`, and the figures of the search."""
        from experiments.calibration.search.trial_dataset import trial_dataset

        dataset: xarray.Dataset = trial_dataset(self.trial, self.document())
        return dataset


@dataclass(frozen=True, eq=False, repr=False)
class SearchesResult(Result):
    """What `searches` gave: a row for each finger and strategy in `study.rows`."""

    study: Study

    @property
    def file_name(self) -> str:
        """searches."""
        return "searches"

    def lines(self) -> list[str]:
        """Errors, failures, times and crossovers by strategy."""
        from experiments.calibration.search.text import study_lines

        return study_lines(self.study)

    def document(self) -> dict[str, Any]:
        """The figures of the table as plain data."""
        from experiments.calibration.search.text import study_json

        return study_json(self.study) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """searches."""
        from experiments.calibration.search.pictures import study_figures

        return study_figures(self.study)

    def to_xarray(self) -> xarray.Dataset:
        """All rows over `strategy` and `finger`."""
        from experiments.calibration.search.dataset import study_dataset

        dataset: xarray.Dataset = study_dataset(self.study, self.document())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """JSON, NetCDF and the picture."""
        folder.write_json("searches.json", self.document())
        folder.write_netcdf("searches.nc", self.to_xarray())
        folder.write_figures(self.pictures())


@public
def search(
    rig: RigLike = "wrist", finger: str | None = None, *, strategy: str = USUAL, record: RecordLike = None,
    group: str | None = None, seed: int | None = None, substeps: int | None = None,
    firmware: str | Path | None = None,
) -> SearchResult:
    """Let a rig find its set point on one virtual finger; what was found stands beside the truth.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        finger: name of a virtual finger, `GROUP-SEED-NUMBER`, as in `mixed-1-0011`, with `-DEFECT` for a spoiled one.
        strategy: `classroom`, `arctangent`, `waveform`, `probing`, or `FILE.py:Class` for one of your own.
        record: search on the rig's own finger with this arterial pressure instead, as `check` does.
        group: of the finger when none is named: `mixed`, `young`, `old`, `cold`, `warm`, `low_perfusion`.
        seed: of that finger or, with a record, of all noise.
        substeps: Runge–Kutta steps a tick; None: 5, or as many as the rig needs (as `check` with a record).
        firmware: a servo of your own instead of the rig's law: a C file, a folder of them or a shared library, run
            with your rights. The strategy stays the slow task: it asks that firmware by the orders of its interface.

    Returns:
        A SearchResult: `passed`, whether a set point was found; `trial.calibration` with `error_mmHg` (mean transmural
        pressure held less that of peak compliance [mmHg]), `search_s`, `first_waveform_s`; `to_xarray()` over
        `time_s`, `plot()` with the figure `search`, `to_json()`, `save(folder)`.

    Raises:
        InputError: a name that is not known, arguments that contradict each other, a rig that cannot clamp.

    >>> import cuffloop
    >>> result = cuffloop.search("wrist", "mixed-1-0011", strategy="classroom")
    >>> result.passed, abs(result.trial.calibration.error_mmHg) > 1
    (True, True)
    """
    strategies = load_strategies(strategy or USUAL)
    if len(strategies) > 1:
        raise InputError(f"--strategy {strategy}: one at a time on one finger; add --fingers N to compare several")
    _check_numbers(seed, substeps)
    _check_clashes(record is not None, finger, group, seed)
    made = rig_of(rig)
    with Sessions(Path(firmware)) if firmware is not None else nullcontext() as own:
        trial = _trial(made, strategies[0], finger or _usual(group, seed), record, (seed, substeps), own or Session)
    return SearchResult(trial, tuple(own.findings) if own else (), told=provenance(trial.seed))


def _usual(group: str | None, seed: int | None) -> str:
    """The finger that is taken where none is named."""
    return f"{group or USUAL_GROUP}-{USUAL_SEED if seed is None else seed}-{USUAL_NUMBER:04d}"


def _trial(
    rig: Rig, strategy: Strategy, finger: str, record: RecordLike, numbers: tuple[int | None, int | None],
    sessions: MakesSessions,
) -> Trial:
    """A search on the record or, without one, on the finger; the numbers are seed and Runge–Kutta steps."""
    seed, substeps = numbers
    if record is None:
        return finger_trial(rig, find_finger(finger), strategy, instrument_of(rig), substeps or usual_substeps(rig),
                            confirmation=Confirmation(), sessions=sessions)
    own_seed = USUAL_SEED if seed is None else seed
    trace = pressure_on(rig, record, None, 0.0, own_seed)
    return record_trial(rig, trace, strategy, instrument_of(rig), own_seed, substeps, sessions)


@public
def searches(
    rig: RigLike = "wrist", fingers: int = 100, *, strategies: str | Sequence[str] = ALL, spoiled: int = 0,
    group: str = USUAL_GROUP, seed: int = USUAL_SEED, substeps: int | None = None, work: Work = HERE,
) -> SearchesResult:
    """Compare set-point searches over many virtual fingers: errors, stated intervals, failures, times, crossovers.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        fingers: how many, 1 … 100,000.
        strategies: names as for `search`, or `all`.
        spoiled: so many fingers more of each kind that cannot be measured.
        group: of the fingers: `mixed`, `young`, `old`, `cold`, `warm`, `low_perfusion`.
        seed: of the fingers and of all noise.
        substeps: Runge–Kutta steps a tick; None: 5, or as many as the rig needs to be stable.
        work: processes, cluster, and a folder from which an interrupted study goes on.

    Returns:
        A SearchesResult: `study.rows`, one for each finger and strategy; `to_xarray()` over `strategy` and `finger`
        (`error_mmHg`, `crossover_Hz`, …, with units); `plot()` with the figure `searches`, `to_json()`, `save(folder)`.

    Raises:
        InputError: a name that is not known, a number out of range, a folder of another study.

    >>> import cuffloop
    >>> result = cuffloop.searches("wrist", fingers=2, strategies="classroom")
    >>> dict(result.to_xarray().sizes)
    {'strategy': 1, 'finger': 2}
    """
    _check_numbers(seed, substeps)
    bounded("--fingers", fingers, 1, MOST_FINGERS)
    bounded("--spoiled", spoiled, 0, MOST_FINGERS)
    engine, kept = work.engine(), work.kept(rig, PARTS)
    chosen = load_strategies(strategies if isinstance(strategies, str) else ",".join(strategies))
    name, *settings = given_of(rig)
    steps = substeps or usual_substeps(load_rig(name, settings))
    plan = Plan(name, tuple(settings), tuple(s.name for s in chosen), group, seed, fingers, spoiled, steps)
    study = run_study(plan, kept and kept.parent, engine, watcher())
    return SearchesResult(study, told=provenance(seed))


def _check_numbers(seed: int | None, substeps: int | None) -> None:
    if seed is not None:
        bounded("--seed", seed, 0, LARGEST_SEED)
    if substeps is not None:
        bounded("--substeps", substeps, 1, MOST_SUBSTEPS)


def _check_clashes(record: bool, finger: str | None, group: str | None, seed: int | None) -> None:
    """Raise InputError where arguments say two things about the finger."""
    given: dict[str, Any] = {"--finger": finger, "--group": group, "--seed": seed}
    clashes = {"--record": ("--finger", "--group"), "--finger": ("--group", "--seed")}
    for option, there in {"--record": record, "--finger": finger is not None}.items():
        for other in clashes[option]:
            if there and given[other] is not None:
                why = "the record is played on the rig's own finger" if option == "--record" else "the name says it all"
                raise InputError(f"{option} and {other}: give only one of them, {why}")
    if group is not None and group not in GROUPS:
        raise InputError(f"--group {group}: use one of {', '.join(GROUPS)}")
