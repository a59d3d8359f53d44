"""`cuffloop.simulate`: one run of a rig on a pressure record, at the true set point."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from experiments.check.check import run_tracking
from experiments.check.text import run_json, run_lines
from experiments.check.tracking import Tracking
from experiments.front.inputs import LONGEST_s, RecordLike, RigLike, bounded, pressure_on, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.simulation import simulate as simulation
from experiments.simulation.trace_file import as_dataset
from experiments.work.output import provenance
from experiments.work.progress import watcher

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class SimulateResult(Result):
    """What `simulate` gave: the run with all its channels, and how well it followed (None: too short to say)."""

    run: simulation.Run
    tracking: Tracking | None

    @property
    def passed(self) -> bool:
        """Whether the clamp held to the end: the run neither diverged nor stayed at a limit."""
        return self.run.status == "done"

    @property
    def file_name(self) -> str:
        """simulate."""
        return "simulate"

    def lines(self) -> list[str]:
        """What the run came to."""
        return run_lines(self.run, self.tracking)

    def document(self) -> dict[str, Any]:
        """Outcome and tracking figures as plain data."""
        return run_json(self.run, self.tracking) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """tracking."""
        from experiments.check.pictures_run import tracking_figure

        title = f"{self.run.rig.name} on {self.run.trace.name}"
        return {"tracking": lambda: tracking_figure(self.run, self.tracking, title)}

    def to_xarray(self) -> xarray.Dataset:
        """Every tick of every channel over `time_s`."""
        dataset: xarray.Dataset = as_dataset(self.run, self.document())
        return dataset


@public
def simulate(
    rig: RigLike = "wrist", record: RecordLike = None, *, seconds: float | None = None, start_s: float = 0.0,
    seed: int = 1, offset_mmHg: float = 0.0, volume_error: float = 0.0, vent_s: float = 0.0,
) -> SimulateResult:
    """Run a rig on a pressure record: fill for 2 s, clamp at the true set point, and vent at the end if asked.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        record: as for `check`: a file, `pig`, `synthetic`, or what `read_record` returned.
        seconds: use only so much of the record [s].
        start_s: begin so far into the record [s].
        seed: of all noise, 0 … 2³² − 1.
        offset_mmHg: transmural offset of the set point from the unloaded volume [mmHg], −200 … 200.
        volume_error: relative error of the arterial volume held, −0.95 … 0.95; 0.1 is 10 % too large.
        vent_s: vent for so long at the end [s].

    Returns:
        A SimulateResult: `run.channels`, a dict of arrays of shape (ticks,) by name (`cuff_mmHg`, `arterial_mmHg`,
        `light`, `command`, …); `tracking`, errors by beat; `passed`, whether the clamp held; `to_xarray()` over
        `time_s` with units, `plot()` with the figure `tracking`, `to_json()`, `save(folder)`.

    Raises:
        InputError: as `check`.

    >>> import cuffloop
    >>> result = cuffloop.simulate("wrist", "synthetic", seconds=8, offset_mmHg=5)
    >>> result.run.status, result.run.channels["cuff_mmHg"].shape
    ('done', (8000,))
    """
    made = rig_of(rig)
    bounded("--offset", offset_mmHg, -200.0, 200.0, "mmHg")
    bounded("--volume-error", volume_error, -0.95, 0.95)
    bounded("--vent", vent_s, 0.0, LONGEST_s, "s")
    trace = pressure_on(made, record, seconds, start_s, seed)
    plan = simulation.Plan(vent_s=vent_s, offset_mmHg=offset_mmHg, set_point_error=volume_error)
    run = simulation.simulate(made, trace, plan, seed, progress=watcher())
    return SimulateResult(run, run_tracking(run), told=provenance(seed))
