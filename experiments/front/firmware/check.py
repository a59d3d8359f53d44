"""`cuffloop.check_firmware`: somebody's own firmware judged as `check` judges a rig."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.firmware.foreign import judged
from experiments.front.firmware.ticks import ticks_dataset
from experiments.front.inputs import RecordLike, RigLike, pressure_on, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.work.output import provenance
from experiments.work.progress import watcher

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class FirmwareCheckResult(Result):
    """What `check_firmware` found. `found` holds all of it: search, run, tracking, findings, verdicts."""

    found: judged.FirmwareCheck

    @property
    def passed(self) -> bool:
        """Whether there is no finding, a set point was found, the run ended, and every limit that counts is kept."""
        return self.found.passed

    @property
    def file_name(self) -> str:
        """check."""
        return "check"

    def lines(self) -> list[str]:
        """Findings, set point, tracking and verdict on one screen."""
        return self.found.lines()

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return self.found.document() | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """tracking, where there is a run."""
        return self.found.pictures()

    def to_xarray(self) -> xarray.Dataset:
        """Every tick of the run over `time_s`; none where the firmware did not begin."""
        return ticks_dataset(self.found.watched.run, self.attributes(), self.document())


@public
def check_firmware(
    firmware: str | Path, rig: RigLike = "wrist", record: RecordLike = None, *,
    requirements: str | Path | None = None, seconds: float | None = None, start_s: float = 0.0, seed: int = 1,
) -> FirmwareCheckResult:
    """Judge a firmware of your own on a rig's plant: the rig's search asks it, it clamps there, and limits are kept.

    As `check`, with your servo instead of the rig's law. Margins and phase budget are of that law: they are left out,
    with the limits on them. Set-point search and confirmation are the rig's slow task: they ask your firmware by the
    mode, fill pressure, set point and slope of `pressure_servo.h`.

    Args:
        firmware: a C file, a folder of them, or a shared library. It is run with your rights.
        rig: name, path of a rig file, or what `load_rig` returned.
        record: arterial pressure: a file, `pig`, `synthetic`, or what `read_record` returned.
        requirements: file of limits (`.toml`); None: the one that ships with the rig.
        seconds: use only so much of the record [s].
        start_s: begin so far into the record [s].
        seed: of all noise.

    Returns:
        A FirmwareCheckResult: `passed`, `found.findings`, `found.calibration`, `to_xarray()` over `time_s` [s],
        `plot()` with the figure `tracking`, `to_json()`, `save(folder)`.

    Raises:
        InputError: a firmware that cannot be built or loaded, a record with faults or fewer than ten beats that count.

    >>> import cuffloop
    >>> cuffloop.check_firmware("missing.c", record="synthetic", seconds=16)
    Traceback (most recent call last):
    plant.errors.InputError: firmware missing.c: there is no such file
    """
    made = rig_of(rig)
    limits = load_requirements(Path(requirements) if requirements else default_requirements(made.base))
    trace = pressure_on(made, record, seconds, start_s, seed)
    found = judged.check_firmware(made, trace, Path(firmware), limits, seed, watcher())
    return FirmwareCheckResult(found, told=provenance(seed))
