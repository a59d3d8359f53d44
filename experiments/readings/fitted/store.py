"""The fitted constants as they are shipped: `constants.json`, plain numbers."""
from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.arm.transfer import Transfer
from experiments.readings.output.stroke import Law

Samples = NDArray[np.float64]
FILE = Path(__file__).resolve().parent / "constants.json"
DIGITS = 6
SPREADS = ("pressure_sd_mmHg", "pressure_change_sd_mmHg", "tube_sd_mmHg", "tube_change_sd_mmHg")


class Constants(NamedTuple):
    """Everything that was fitted but the law of the breath."""

    transfer: Transfer
    laws: dict[str, Law]  # by estimator
    arm: Samples  # law of the upper arm's systolic, mean and diastolic pressure, (3, features)
    pressure_sd_mmHg: dict[str, Samples]  # what that law leaves of each, by decade of age
    pressure_change_sd_mmHg: dict[str, Samples]  # the same of changes since rest
    tube_sd_mmHg: dict[str, Samples]  # what the tube leaves, alike
    tube_change_sd_mmHg: dict[str, Samples]


def as_plain(constants: Constants) -> dict[str, Any]:
    """Numbers with six digits."""

    def short(values: Any) -> Any:
        if np.ndim(values) == 0:
            return float(f"{values:.{DIGITS}g}")
        return [short(value) for value in values]

    transfer = constants.transfer
    return {
        "transfer": {"real": [short(row) for row in transfer.gains.real],
                     "imaginary": [short(row) for row in transfer.gains.imag], "level": short(transfer.level),
                     "level_sd_mmHg": float(f"{transfer.level_sd_mmHg:.{DIGITS}g}")},
        "laws": {name: {field: short(value) for field, value in law._asdict().items()}
                 for name, law in constants.laws.items()},
        "arm": [short(row) for row in constants.arm],
        **{field: {name: short(values) for name, values in getattr(constants, field).items()} for field in SPREADS},
    }


def from_plain(told: dict[str, Any]) -> Constants:
    """The constants of plain data."""
    transfer = told["transfer"]
    gains = np.array(transfer["real"]) + 1j * np.array(transfer["imaginary"])
    laws = {name: _law(law) for name, law in told["laws"].items()}
    spreads = {field: {name: np.array(values) for name, values in told[field].items()} for field in SPREADS}
    return Constants(Transfer(gains, np.array(transfer["level"]), float(transfer["level_sd_mmHg"])), laws,
                     np.array(told["arm"]), **spreads)


def _law(told: dict[str, Any]) -> Law:
    held = {field: np.array(told[field], float) for field in Law._fields if field != "known_mL"}
    return Law(known_mL=float(told["known_mL"]), **held)


@lru_cache(maxsize=1)
def shipped() -> Constants:
    """The constants that come with the package."""
    return from_plain(json.loads(FILE.read_text(encoding="utf-8")))
