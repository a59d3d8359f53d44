"""What people and programs read of virtual fingers: every parameter by quantiles."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.subjects.finger import Finger
from experiments.subjects.table import finger_row, headings

SHARES = (0.05, 0.5, 0.95)


def quantiles(people: list[Finger]) -> dict[str, list[float]]:
    """5 %, median and 95 % of each parameter that differs between fingers, by the headings of the table."""
    rows = [finger_row(finger) for finger in people]
    found = {}
    for key, heading in headings().items():
        if key in ("name", "group", "seed", "defect"):
            continue
        values = np.array([row[key] for row in rows], float)
        if len(people) == 1 or np.ptp(values) > 0.0:
            found[heading] = [float(q) for q in np.quantile(values, SHARES)]
    return found


def fingers_lines(group: str, people: list[Finger]) -> list[str]:
    """The quantiles for people."""
    return [
        f"{len(people)} virtual fingers of {group}: {people[0].name} … {people[-1].name} (invented people)", "",
        f"{'':<42}{'5 %':>10}{'median':>10}{'95 %':>10}",
        *(f"{heading:<42}" + "".join(f"{value:>10.4g}" for value in values)
          for heading, values in quantiles(people).items()),
    ]


def fingers_json(group: str, people: list[Finger]) -> dict[str, Any]:
    """The same as plain data."""
    return {"group": group, "fingers": len(people), "first": people[0].name, "last": people[-1].name,
            "quantiles": quantiles(people)}
