"""`cuffloop.tune`: settings that track best and keep margins on every finger."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.design.tune import study as tuning_study
from experiments.design.tune.dataset import tuning_dataset
from experiments.design.tune.limits import margin_limits
from experiments.design.tune.pictures import fingers_figure, sensitivity_figure, trade_off_figure
from experiments.design.tune.structures import structures_named
from experiments.design.tune.text import tuned_rig_text, tuning_json, tuning_lines
from experiments.front.inputs import LARGEST_SEED, RigLike, bounded, rig_of, source_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.identify.recording.read import read_recordings
from experiments.identify.recording.sheet import read_sheet
from experiments.identify.response.frequency_response import response_of
from experiments.identify.response.measured_loop import correction_of
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.spread_tables import SPREAD
from experiments.rigs.uncertain import drawn_rigs
from experiments.subjects.table import chosen_fingers
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True)
class TuneOptions:
    """What is less often asked of a tuning."""

    slope_error: float | None = None
    """How far a search's light slope, and so the gain, may be off, as a share; None: what 95 % of searches keep to."""
    structure: str | None = None
    """Of the controller, the only one to be tried: `PI`, `PID`, `PI with lead`, `PID with lead`, `PID with notch`,
    `PID with lead and notch`; None: all of them."""
    response: str | Path | None = None
    """Sheet (`.toml`) of recordings with a multisine: measured data in place of the twin of valve, line, cuff and
    transducer, each finger with a draw of it within its uncertainty."""


USUAL = TuneOptions()


@dataclass(frozen=True, eq=False, repr=False)
class TuneResult(Result):
    """What `tune` found: the tuned setting beside the shipped one, classical rules and the limit of any controller."""

    tuning: tuning_study.Tuning

    @property
    def passed(self) -> bool:
        """Whether settings were found that keep every limit, and the simulation of many fingers bears them out."""
        return self.tuning.passed

    @property
    def rig_text(self) -> str:
        """A rig file (`.toml`) with the settings that were found."""
        return tuned_rig_text(self.tuning)

    @property
    def file_name(self) -> str:
        """tune."""
        return "tune"

    def lines(self) -> list[str]:
        """The whole tuning on one screen."""
        return tuning_lines(self.tuning)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return tuning_json(self.tuning) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """trade_off, sensitivity, fingers."""
        return {
            "trade_off": lambda: trade_off_figure(self.tuning), "sensitivity": lambda: sensitivity_figure(self.tuning),
            "fingers": lambda: fingers_figure(self.tuning),
        }

    def to_xarray(self) -> xarray.Dataset:
        """Error and margins over `setting`, error over `finger`, the trade-off over `largest_peak`."""
        dataset: xarray.Dataset = tuning_dataset(self.tuning, self.attributes() | {"rig": self.tuning.rig.name})
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """JSON, the tuned rig file, and pictures."""
        folder.write_json("tune.json", self.document())
        folder.write_text("tuned.toml", self.rig_text)
        folder.write_figures(self.pictures())


@public
def tune(
    rig: RigLike = "wrist", fingers: int = 500, *, group: str = "mixed", percentile: float = 100.0,
    requirements: str | Path | None = None, options: TuneOptions = USUAL, seed: int = 1,
) -> TuneResult:
    """Find controller settings that track best and keep their margins on every finger of a population.

    Where the rig's file holds `[spread]`, as `identify` writes it, each finger is on a rig of its own, drawn within
    that (jointly, by `[correlation]`): the settings then keep their limits on whatever rig the bench left possible.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        fingers: how many virtual fingers.
        group: of the fingers: `mixed`, `young`, `old`, `cold`, `warm`, `low_perfusion`, or a table (`.csv`).
        percentile: share of the fingers that must keep the limits and counts [%], 50 … 100.
        requirements: file of limits, of which those on margins count; None: the one that ships with the rig.
        options: structure, slope error, measured response: a `TuneOptions`.
        seed: of the fingers, and of what is drawn.

    Returns:
        A TuneResult: `passed`; `tuning.tuned.found.controller`, the settings; `rig_text`, a rig file with them;
        `to_xarray()` over `setting`, `finger` and `largest_peak` with units; `plot()` with the figures `trade_off`,
        `sensitivity` and `fingers`; `to_json()`, `save(folder)`.

    Raises:
        InputError: a number out of range, a group that is not known, too few fingers that can be clamped at all.

    A tuning takes hundreds of times as long as a check; so this example is not run.

        result = cuffloop.tune("wrist", fingers=50)
        Path("tuned.toml").write_text(result.rig_text)
    """
    made = rig_of(rig)
    tuning_study.check_options(fingers, percentile, options.slope_error)
    bounded("--seed", seed, 0, LARGEST_SEED)
    limits = margin_limits(load_requirements(Path(requirements) if requirements else default_requirements(made.base)))
    structures = structures_named(options.structure)
    people = chosen_fingers(fingers, group, seed)
    aims = tuning_study.Aims(limits, percentile, options.slope_error, structures)
    if options.response is not None:
        found = response_of(read_recordings(read_sheet(Path(options.response))))
        draws = [correction_of(made, found, seed + 1 + k) for k in range(len(people))]
        aims = aims._replace(measured=(correction_of(made, found), *draws))
    elif SPREAD in made.tables:
        aims = aims._replace(plants=tuple(drawn_rigs(source_of(rig), made, len(people), seed)))
    tuning = tuning_study.tune(made, people, aims, group, seed, watcher())
    return TuneResult(tuning, told=provenance(seed))
