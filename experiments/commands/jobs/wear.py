"""`cuffloop wear`: whether a plan of turns keeps to its limits, and what each finger bears."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver
from experiments.front.wear import USUAL_TURN_min, wear
from plant.errors import InputError
from plant.messages import value_text
from plant.read_number import read_number


@dataclass(frozen=True, kw_only=True)
class WearOptions(Options):
    """What `cuffloop wear` takes."""

    hours: float
    fingers: int
    turn: float = USUAL_TURN_min
    pause: float = 0.0
    mean: float = 90.0
    limit: list[str] | None = None


def wear_job(options: WearOptions) -> int:
    """0 when the plan is accepted, 1 when it is refused."""
    limits = limits_of(options.limit or [])
    return deliver(options, "wear", lambda: wear(
        options.hours, options.fingers, turn_min=options.turn, pause_min=options.pause, mean_mmHg=options.mean,
        limits=limits))


def limits_of(texts: list[str]) -> dict[str, float]:
    """Limits from `KEY=VALUE`. Raises InputError."""
    found = {}
    for text in texts:
        key, _, value = text.partition("=")
        try:
            found[key.strip()] = read_number(value)
        except ValueError:
            raise InputError(f"--limit {value_text(text)}: use KEY=NUMBER, as in one_finger_h=6") from None
    return found
