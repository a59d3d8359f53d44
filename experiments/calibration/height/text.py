"""What people and programs read of a raised hand."""
from __future__ import annotations

from typing import Any

import numpy as np

from calibrate.height import HeightSensor, NotZeroed
from experiments.calibration.height.study import STORY, HeightStudy, STORY_s
from plant.units import hydrostatic_mmHg


def hold_rows(study: HeightStudy) -> list[dict[str, float]]:
    """One row for each height at which the hand was held: ρgh, and the mean error as read and corrected [mmHg]."""
    rows = []
    for move in STORY:
        ramp = abs(move.height_m) / move.speed_m_s
        held = (study.beat_s > move.start_s + ramp + 1.0) & (study.beat_s < move.start_s + ramp + move.hold_s - 1.0)
        rows.append({
            "height_m": move.height_m, "column_mmHg": -hydrostatic_mmHg(move.height_m),
            "as_read_mmHg": float(np.mean(study.reading_mmHg[held] - study.heart_mmHg[held])),
            "corrected_mmHg": float(np.mean(study.corrected_mmHg[held] - study.heart_mmHg[held])),
        })
    return rows


def height_lines(rig_name: str, study: HeightStudy | NotZeroed) -> list[str]:
    """The result for people."""
    if isinstance(study, NotZeroed):
        return [f"{rig_name}: the height sensor was not zeroed: {study.message}"]
    lines = [
        f"{rig_name}: a hand goes up and comes down within {STORY_s:.0f} s of clamp (invented scenario)",
        "mean error of the reading against the heart, in mmHg:",
        f"{'hand up by':>12}{'column −ρgh':>14}{'as read':>10}{'corrected':>12}",
    ]
    for row in hold_rows(study):
        lines.append(f"{100 * row['height_m']:9.0f} cm{row['column_mmHg']:14.2f}{row['as_read_mmHg']:+10.2f}"
                     f"{row['corrected_mmHg']:+12.2f}".replace("-", "−"))
    lines.append("what correction leaves: the sensor's own error, and veins that refill under a lower cuff pressure")
    return lines


def height_json(rig_name: str, study: HeightStudy | NotZeroed, sensor: HeightSensor) -> dict[str, Any]:
    """The same as plain data."""
    if isinstance(study, NotZeroed):
        found: dict[str, Any] = {"rig": rig_name, "zeroed": False, "why": study.message}
    else:
        found = {"rig": rig_name, "zeroed": True, "holds": hold_rows(study)}
    return found | {"sensor": sensor._asdict()}
