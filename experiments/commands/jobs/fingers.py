"""`cuffloop fingers`: virtual fingers as a table, printed by quantiles or written as CSV, and read back elsewhere."""
from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from experiments.commands.jobs.common import LARGEST_SEED, bounded
from experiments.subjects.finger import Finger
from experiments.subjects.population import MOST_FINGERS
from experiments.subjects.spreads import GROUPS
from experiments.subjects.table import chosen_fingers, finger_row, headings, is_table, save_fingers
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError
from plant.messages import value_text

SHARES = (0.05, 0.5, 0.95)


def fingers_job(group: str, count: int, seed: int, out: Path | None, as_json: bool) -> int:
    """0; every parameter by quantiles, and with `out` a table of all fingers in `fingers.csv`."""
    if not is_table(group) and group not in GROUPS:
        raise InputError(f"--group {value_text(group)}: use one of {', '.join(GROUPS)}, or a table that ends in .csv")
    bounded("--fingers", count, 1, MOST_FINGERS)
    bounded("--seed", seed, 0, LARGEST_SEED)
    people = chosen_fingers(count, group, seed)
    spread = quantiles(people)
    with OutputFolder.open(out) as folder:
        if folder:
            folder.write("fingers.csv", lambda path: save_fingers(path, people))
        document: dict[str, Any] = {
            "group": group, "fingers": len(people), "first": people[0].name, "last": people[-1].name,
            "quantiles": spread,
        } | provenance(seed)
    if as_json:
        print_json(document)
    else:
        print_lines(_lines(group, people, spread), folder)
    return 0


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


def _lines(group: str, people: list[Finger], spread: dict[str, list[float]]) -> list[str]:
    return [
        f"{len(people)} virtual fingers of {group}: {people[0].name} … {people[-1].name} (invented people)", "",
        f"{'':<42}{'5 %':>10}{'median':>10}{'95 %':>10}",
        *(f"{heading:<42}" + "".join(f"{value:>10.4g}" for value in values) for heading, values in spread.items()),
    ]
