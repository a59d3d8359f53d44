"""The whole check of the rig as it stands: the figures that `cuffloop check --json` prints, and the verdict on each."""
from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from experiments.bench.answers.watched import Watched
from experiments.bench.asked import Asked, Refused, spoken
from experiments.bench.setup import limits, whole_record
from experiments.bench.wire import Answer
from experiments.check.check import USUAL_SEARCH, check
from experiments.check.dataset import figures_of
from experiments.check.text import check_json
from experiments.rigs.requirements import FIGURES, Verdict
from experiments.work.progress import watcher
from plant.errors import InputError

SIGNS = {"min": "≥"}


def checked(asked: Asked) -> Iterator[Answer]:
    """The check of a rig on the whole record. Raises Refused; whoever watches the work may end it at any piece."""
    rig, tell = asked.made(), watcher()
    search = USUAL_SEARCH if tell is None else Watched(USUAL_SEARCH, tell)
    try:
        trace = whole_record(asked.setup, rig.timing.period_s)
        found = check(rig, trace, limits(asked.setup, rig.base), seed=asked.setup.seed, progress=tell,
                      search=search)
    except InputError as error:
        raise Refused(spoken(error), asked.moved) from None
    yield Answer({
        "passed": found.passed, "ledger": [ledger_row(verdict) for verdict in found.verdicts],
        "figures": figures_of(found), "document": document(check_json(found)), "record": trace.name,
        "set_point": found.calibration.found is not None, "status": found.run.status, "message": found.run.message,
    })


def document(whole: dict[str, Any]) -> dict[str, Any]:
    """The command's document without what only repeats the rig."""
    return {key: value for key, value in whole.items() if key != "tables"}


def ledger_row(verdict: Verdict) -> dict[str, Any]:
    """One limit with its figure, in words and as they are printed."""
    spread = f" ({verdict.limit[:-4]})" if "_" in verdict.limit else ""
    return {
        "figure": verdict.figure, "limit": verdict.limit, "what": f"{FIGURES[verdict.figure][1]}{spread}",
        "found": verdict.found, "found_text": printed(verdict.found), "allowed": verdict.allowed,
        "allowed_text": f"{SIGNS.get(verdict.limit, '≤')} {printed(verdict.allowed)}", "unit": verdict.unit,
        "kept": verdict.passed,
    }


def printed(value: float) -> str:
    """A figure as the command's table prints it."""
    if math.isnan(value):
        return "none"
    return "∞" if math.isinf(value) else f"{value:.4g}" if abs(value) > 1e-9 else "0"
