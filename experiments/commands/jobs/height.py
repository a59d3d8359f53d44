"""`cuffloop height`: what a raised hand does to the reading, and what a height sensor makes good."""
from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from calibrate.height import HeightSensor, NotZeroed
from experiments.calibration.height import STORY, HeightStudy, STORY_s, study_height
from experiments.commands.jobs.common import LARGEST_SEED, bounded
from experiments.rigs.rig import load_rig
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError
from plant.messages import value_text
from plant.pressure.synthetic import SyntheticPressure
from plant.read_number import read_number
from plant.units import hydrostatic_mmHg
from plant.validate import validated


def sensor_from(changes: list[str] | None) -> HeightSensor:
    """A height sensor with some of its faults changed, each given as KEY=VALUE. Raises InputError."""
    values: dict[str, float] = {}
    for change in changes or []:
        key, equals, text = change.partition("=")
        try:
            values[key.strip()] = read_number(text)
        except ValueError:
            equals = ""
        if not equals:
            raise InputError(f"--sensor {value_text(change)} must read KEY=NUMBER, as in --sensor lag_s=1")
    sensor: HeightSensor = validated(HeightSensor, values, "--sensor", "sensor")
    return sensor


def height_job(
    rig_name: str, sensor: list[str] | None, seed: int, settings: list[str] | None, out: Path | None, as_json: bool
) -> int:
    """0 when the hand was followed, 1 when the sensor refused to be zeroed."""
    rig = load_rig(rig_name, settings)
    bounded("--seed", seed, 0, LARGEST_SEED)
    parts = sensor_from(sensor)
    with OutputFolder.open(out) as folder:
        study = study_height(rig, parts, SyntheticPressure(), seed)
        if isinstance(study, NotZeroed):
            document: dict[str, Any] = {"rig": rig.name, "zeroed": False, "why": study.message}
        else:
            document = {"rig": rig.name, "zeroed": True, "holds": hold_rows(study)}
        document |= {"sensor": parts._asdict()} | provenance(seed)
        if folder:
            folder.write_json("height.json", document)
            if isinstance(study, HeightStudy):
                from experiments.calibration.height_pictures import height_figure

                title = f"A raised hand on the rig {rig.name}: as read, and corrected for height (invented scenario)"
                folder.write_figures({"height": lambda: height_figure(study, title)})
    if as_json:
        print_json(document)
    else:
        print_lines(height_lines(rig.name, study), folder)
    return 1 if isinstance(study, NotZeroed) else 0


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
