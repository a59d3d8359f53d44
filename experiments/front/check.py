"""`cuffloop.check`: margins, tracking and verdict of a rig on a pressure record."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.check import check as checking
from experiments.check.dataset import check_dataset, figures_of, unit_of
from experiments.check.text import check_figures, check_json, check_lines
from experiments.front.inputs import RecordLike, RigLike, pressure_on, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.work.output import provenance
from experiments.work.progress import watcher

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class CheckResult(Result):
    """What `check` found. `found` holds all of it: loops with their margins, search, run, tracking, verdicts."""

    found: checking.Check

    @property
    def passed(self) -> bool:
        """Whether a set point was found, the run came to its end, and every limit is kept."""
        return self.found.passed

    @property
    def figures(self) -> dict[str, float]:
        """Every figure by the name that requirements use, as in `phase_margin_deg`; its unit is in `figure_units`."""
        return figures_of(self.found)

    @property
    def figure_units(self) -> dict[str, str]:
        """Unit of each of `figures`; `1` for what has none."""
        return {name: unit_of(name) for name in self.figures}

    @property
    def file_name(self) -> str:
        """check."""
        return "check"

    def lines(self) -> list[str]:
        """Margins, budget, set point, tracking and verdict on one screen."""
        return check_lines(self.found)

    def document(self) -> dict[str, Any]:
        """The whole check as plain data."""
        return check_json(self.found) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """margins, budget, tracking."""
        return check_figures(self.found)

    def to_xarray(self) -> xarray.Dataset:
        """Ticks over `time_s`, margins over `operating_point`, phase over `part`, and each figure."""
        dataset: xarray.Dataset = check_dataset(self.found, self.document())
        return dataset


@public
def check(
    rig: RigLike = "wrist", record: RecordLike = None, *, requirements: str | Path | None = None,
    seconds: float | None = None, start_s: float = 0.0, seed: int = 1,
) -> CheckResult:
    """Judge a rig on a pressure record: margins of its sampled loop, phase budget, set point, tracking, verdict.

    The margins are those of the exact sampled loop at the record's mean, 5th and 95th percentile pressure, on both
    sides of the valve; the worst counts. The rig then looks for its set point on the record, clamps there, and cuff
    pressure is held against what a perfect clamp at the unloaded volume would read.

    Args:
        rig: name of a built-in rig (`wrist`, `cabinet`), path of a rig file (`.toml`), or what `load_rig` returned.
        record: arterial pressure: a CSV file (`time_s,pressure_mmHg`), a WFDB record, `pig`, `synthetic`, or what
            `read_record` returned. None: `pig` where its package is installed, else `synthetic`.
        requirements: file of limits (`.toml`); None: the one that ships with the rig.
        seconds: use only so much of the record [s]; None: all of it (of synthetic pressure 30 s).
        start_s: begin so far into the record [s].
        seed: of all noise, 0 … 2³² − 1. The same seed gives the same bits.

    Returns:
        A CheckResult: printed, it is the table of `cuffloop check`. `passed`; `figures`, a dict of numbers by name
        (`phase_margin_deg` [°], `delay_margin_ticks`, `rms_error_mmHg` [mmHg], …) with `figure_units`; `to_xarray()`,
        whose ticks lie along `time_s` [s] (pressures [mmHg], light in shares of full scale) and whose margins lie
        along `operating_point`; `plot()`, Matplotlib figures `margins`, `budget`, `tracking`; `to_json()`;
        `save(folder)`; `found`, everything as objects.

    Raises:
        InputError: a file that cannot be read, a value out of its range, a record with faults, with fewer than ten
            beats that count (5 s are filling and settling) or on other ticks than the rig's, a rig that cannot clamp
            there. One line, which says what.

    >>> import cuffloop
    >>> result = cuffloop.check("wrist", "synthetic", seconds=16)
    >>> result.passed
    True
    >>> round(result.figures["phase_margin_deg"]), result.figure_units["phase_margin_deg"]
    (52, '°')
    >>> result.to_xarray()["cuff_mmHg"].sizes, result.units["cuff_mmHg"]
    (Frozen({'time_s': 16000}), 'mmHg')
    """
    made = rig_of(rig)
    limits = load_requirements(Path(requirements) if requirements else default_requirements(made.base))
    trace = pressure_on(made, record, seconds, start_s, seed)
    found = checking.check(made, trace, limits, seed=seed, progress=watcher())
    return CheckResult(found, told=provenance(seed))
