"""`cuffloop height`: what a raised hand does to the reading, and what a height sensor makes good."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.height import height
from plant.errors import InputError
from plant.messages import value_text
from plant.read_number import read_number


@dataclass(frozen=True, kw_only=True)
class HeightOptions(Options):
    """What `cuffloop height` takes."""

    rig: str = "wrist"
    sensor: list[str] | None = None
    seed: int = 1


def height_job(options: HeightOptions) -> int:
    """0 when the hand was followed, 1 when the sensor refused to be zeroed."""
    rig, sensor = rig_from(options.rig, options), sensor_from(options.sensor)
    return deliver(options, "raising a hand", lambda: height(rig, sensor, seed=options.seed))


def sensor_from(changes: list[str] | None) -> dict[str, float]:
    """Faults of a height sensor, each given as KEY=NUMBER. Raises InputError."""
    values: dict[str, float] = {}
    for change in changes or []:
        key, equals, text = change.partition("=")
        try:
            values[key.strip()] = read_number(text)
        except ValueError:
            equals = ""
        if not equals:
            raise InputError(f"--sensor {value_text(change)} must read KEY=NUMBER, as in --sensor lag_s=1")
    return values
