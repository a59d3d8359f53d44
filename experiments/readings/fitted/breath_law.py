"""The law of variation with the breath as it is shipped: `breath.json`, plain numbers."""
from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from experiments.readings.output.breath_gain import BreathLaw

FILE = Path(__file__).resolve().parent / "breath.json"
DIGITS = 6


def as_plain(law: BreathLaw) -> dict[str, Any]:
    """Numbers with six digits."""
    def short(values: Any) -> list[float]:
        return [float(f"{value:.{DIGITS}g}") for value in values]

    return {"usual": [short(row) for row in law.usual], "weights": short(law.weights),
            "sd": float(f"{law.sd:.{DIGITS}g}")}


def from_plain(told: dict[str, Any]) -> BreathLaw:
    """The law of plain data."""
    return BreathLaw(np.array(told["usual"], float), np.array(told["weights"], float), float(told["sd"]))


@lru_cache(maxsize=1)
def shipped_breath() -> BreathLaw:
    """The law that comes with the package."""
    return from_plain(json.loads(FILE.read_text(encoding="utf-8")))
