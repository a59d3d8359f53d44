"""`cuffloop.margins`: margins of a rig's loop at some pressures; nothing is run."""
from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.margins.budget import BudgetRow, phase_budget
from experiments.check.dataset import margins_dataset
from experiments.check.judged import Judged, judge_loops, over_slope_error, with_effort, worst_of
from experiments.check.text import loops_json, margin_figures_of, margins_lines
from experiments.design.until.pictures import until_figure
from experiments.design.until.study import Until
from experiments.design.until.study import until as solve
from experiments.design.until.text import until_json, until_lines
from experiments.front.inputs import RigLike, bounded, rig_of, source_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.identify.recording.read import read_recordings
from experiments.identify.recording.sheet import read_sheet
from experiments.identify.response.frequency_response import response_of
from experiments.identify.response.measured_loop import dead_time, measured_margins
from experiments.identify.response.text import MeasuredLoop, measured_json, measured_lines
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import Rig
from experiments.rigs.slope_error import usual_slope_error
from experiments.work.output import provenance
from experiments.work.progress import watcher
from plant.pressure.synthetic import SyntheticPressure, synthesise

if TYPE_CHECKING:
    import xarray

EFFORT_s = 30.0  # of synthetic pressure, for what the pulse makes of the command


@dataclass(frozen=True, eq=False, repr=False)
class MarginsResult(Result):
    """What `margins` found: each loop, the one that decides, and the phase that each part costs there."""

    rig: Rig
    loops: list[Judged]
    worst: Judged
    budget: list[BudgetRow]
    until: Until | None = None
    """How far the number that was asked about can go until a limit breaks."""
    measured: MeasuredLoop | None = None
    """The loop with valve, line, cuff and transducer as recorded, in place of their twin."""

    @property
    def passed(self) -> bool:
        """Whether every loop is stable and, with a number asked about, keeps its limits as it is."""
        kept = self.until is None or self.until.below is not None
        return kept and all(judged.margins.stable for judged in self.loops)

    @property
    def file_name(self) -> str:
        """margins."""
        return "margins"

    def lines(self) -> list[str]:
        """A table of margins, and the phase budget."""
        lines = margins_lines(self.rig.name, self.loops, self.worst, self.budget)
        if self.measured is not None:
            lines = [*lines, "", *measured_lines(self.measured)]
        return lines if self.until is None else [*lines, "", *until_lines(self.until)]

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        more = {} if self.until is None else {"until": until_json(self.until)}
        more |= {} if self.measured is None else {"measured": measured_json(self.measured)}
        return {"rig": self.rig.name, **loops_json(self.loops, self.worst, self.budget), **more} | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """margins, budget; until."""
        figures = margin_figures_of(self.rig.name, self.loops, self.worst, self.budget)
        found = self.until
        return figures if found is None else figures | {"until": lambda: until_figure(found, self.rig.name)}

    def to_xarray(self) -> xarray.Dataset:
        """Margins over `operating_point`, phase over `part`."""
        dataset: xarray.Dataset = margins_dataset(self.loops, self.budget, self.attributes() | {"rig": self.rig.name})
        return dataset


@public
def margins(
    rig: RigLike = "wrist", at_mmHg: float | Sequence[float] = 90.0, *, until: str | None = None,
    requirements: str | Path | None = None, response: str | Path | None = None,
) -> MarginsResult:
    """Margins of the exact sampled loop of a rig on its own finger, on both sides of the valve.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        at_mmHg: arterial pressure of the operating point, or of several [mmHg], 10 … 300.
        until: a number of the rig, as in `tube.length_m`: solve for how far it can go either way until a limit breaks.
        requirements: file of those limits (`.toml`); None: the one that ships with the rig.
        response: sheet (`.toml`) of recordings with a multisine: margins also on measured data, with a band.

    Returns:
        A MarginsResult: `loops`, one for each pressure and side of the valve, each with `name` and `margins`
        (`gain_margin` as a factor, `phase_margin_deg`, `delay_margin_s`, `sensitivity_peak`, …); `worst`; `budget`;
        `passed`, whether all are stable; `to_xarray()` over `operating_point` with units, `plot()` with the figures
        `margins` and `budget`, `to_json()`, `save(folder)`.

    Raises:
        InputError: a rig that cannot be read or cannot clamp there, a pressure out of range, no such number.

    >>> import cuffloop
    >>> found = cuffloop.margins("wrist", at_mmHg=[90, 120])
    >>> [judged.name for judged in found.loops]
    ['90 mmHg, fill', '90 mmHg, vent', '120 mmHg, fill', '120 mmHg, vent']
    >>> found.units["delay_margin_s"]
    's'
    """
    made = rig_of(rig)
    pressures = [float(at_mmHg)] if isinstance(at_mmHg, (int, float)) else [float(p) for p in at_mmHg]
    for pressure in pressures:
        bounded("--at", pressure, 10.0, 300.0, "mmHg")
    named = {f"{p:g} mmHg": p for p in pressures or [90.0]}
    trace = synthesise(SyntheticPressure(), made.timing.period_s, EFFORT_s, 1)
    reach = None
    if until is not None:
        limits = load_requirements(Path(requirements) if requirements else default_requirements(made.base))
        reach = solve(source_of(rig), until, limits, named, trace, watcher())
    loops = judge_loops(made, named)
    loops = over_slope_error(loops, made, pressures[0] if pressures else 90.0, usual_slope_error(made))
    loops = with_effort(loops, made, trace)
    worst = worst_of(loops)
    rows = phase_budget(worst.loop, worst.margins.crossover_Hz) if math.isfinite(worst.margins.crossover_Hz) else []
    measured = None if response is None else measured_loop(made, Path(response))
    return MarginsResult(made, loops, worst, rows, reach, measured, told=provenance(None))


def measured_loop(rig: Rig, sheet: Path) -> MeasuredLoop:
    """The loop of a rig on what a sheet's multisines tell. Raises InputError."""
    found = response_of(read_recordings(read_sheet(sheet)))
    return MeasuredLoop(found, measured_margins(rig, found), dead_time(rig, found))
