"""`cuffloop.height`: what a raised hand does to the reading, and what a height sensor makes good."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calibrate.height import HeightSensor, NotZeroed
from experiments.calibration.height.dataset import height_dataset
from experiments.calibration.height.study import HeightStudy, study_height
from experiments.calibration.height.text import height_json, height_lines
from experiments.front.inputs import LARGEST_SEED, RigLike, bounded, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.rigs.rig import Rig
from experiments.work.output import provenance
from plant.pressure.synthetic import SyntheticPressure
from plant.validate import validated

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True, eq=False, repr=False)
class HeightResult(Result):
    """What `height` gave: heights by tick and pressures by beat, or why the sensor refused to be zeroed."""

    rig: Rig
    sensor: HeightSensor
    study: HeightStudy | NotZeroed

    @property
    def passed(self) -> bool:
        """Whether the sensor could be zeroed and the hand was followed."""
        return not isinstance(self.study, NotZeroed)

    @property
    def file_name(self) -> str:
        """height."""
        return "height"

    def lines(self) -> list[str]:
        """The mean error at each height, as read and corrected."""
        return height_lines(self.rig.name, self.study)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return height_json(self.rig.name, self.study, self.sensor) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """height, unless the sensor was not zeroed."""
        study = self.study
        if isinstance(study, NotZeroed):
            return {}
        from experiments.calibration.height.pictures import height_figure

        title = f"A raised hand on the rig {self.rig.name}: as read, and corrected for height (invented scenario)"
        return {"height": lambda: height_figure(study, title)}

    def to_xarray(self) -> xarray.Dataset:
        """Heights over `time_s`, pressures over `beat_s`."""
        dataset: xarray.Dataset = height_dataset(self.study, self.attributes() | {"rig": self.rig.name})
        return dataset


@public
def height(
    rig: RigLike = "wrist", sensor: Mapping[str, float] | HeightSensor | None = None, *, seed: int = 1
) -> HeightResult:
    """Raise the hand by 10 and by 40 cm during a clamp, with a height sensor that is zeroed first.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        sensor: faults of the height sensor, as in `{"offset_m": 0.02, "lag_s": 1.0}` (`offset_m`, `gain`, `noise_m`,
            `lag_s`, `drift_m_h`), or a HeightSensor; None: a good one.
        seed: of all noise.

    Returns:
        A HeightResult: `passed`, whether the sensor could be zeroed; `study`, heights [m] by tick and pressures [mmHg]
        by beat; `to_xarray()` over `time_s` and `beat_s` with units; `plot()` with the figure `height`; `to_json()`,
        `save(folder)`.

    Raises:
        InputError: a fault out of its range, a rig that cannot clamp.

    >>> import cuffloop
    >>> result = cuffloop.height("wrist", {"lag_s": 0.5})
    >>> [round(hold["as_read_mmHg"]) for hold in result.document()["holds"]]
    [-8, -30]
    """
    made = rig_of(rig)
    bounded("--seed", seed, 0, LARGEST_SEED)
    if isinstance(sensor, HeightSensor):
        parts: HeightSensor = sensor
    else:
        parts = validated(HeightSensor, dict(sensor or {}), "--sensor", "sensor")
    return HeightResult(made, parts, study_height(made, parts, SyntheticPressure(), seed), told=provenance(seed))
