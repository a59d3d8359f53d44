"""One search for the set point, step by step: what it asked, what it saw, what it concluded."""
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from calibrate.protocol import Failed
from calibrate.search.strategies import BUILT_IN, USUAL, load_strategy
from experiments.bench.answers.watched import Watched
from experiments.bench.asked import Asked, Refused, spoken
from experiments.bench.setup import whole_record
from experiments.bench.wire import Answer
from experiments.calibration.search.staircase import coarse_law, phases, step_rows
from experiments.calibration.search.trial import Trial, record_trial
from experiments.simulation.instrument import instrument_of
from experiments.simulation.session import COLUMN
from experiments.work.progress import watcher
from plant.errors import InputError
from plant.messages import value_text

MOST_POINTS = 3000
DRAWN = ("arterial_mmHg", "cuff_mmHg", "light")


def searched(asked: Asked) -> Iterator[Answer]:
    """A search on the record with the rig as it stands; whoever watches may end it. Raises Refused."""
    name = asked.options.get("strategy", USUAL)
    if not isinstance(name, str) or name not in BUILT_IN:  # a name from the page is never that of a file
        raise Refused(f"strategy = {value_text(name)}: use one of {', '.join(BUILT_IN)}")
    rig = asked.made()
    try:
        trace = whole_record(asked.setup, rig.timing.period_s)
        strategy, tell = load_strategy(name), watcher()
        run = strategy if tell is None else strategy._replace(search=Watched(strategy.search, tell))
        trial = replace(record_trial(rig, trace, run, instrument_of(rig), asked.setup.seed), strategy=strategy)
    except InputError as error:
        raise Refused(spoken(error), asked.moved) from None
    yield Answer(search_head(trial), search_curves(trial))


def search_head(trial: Trial) -> dict[str, Any]:
    """What it came to, phase by phase and step by step."""
    calibration, outcome = trial.calibration, trial.calibration.outcome
    head: dict[str, Any] = {
        "strategy": trial.strategy.name, "found": calibration.found is not None,
        "message": outcome.message if isinstance(outcome, Failed) else "", "search_s": calibration.search_s,
        "phases": [phase._asdict() for phase in phases(trial)], "steps": [row._asdict() for row in step_rows(trial)],
        "error_mmHg": calibration.error_mmHg, "slope_ratio": calibration.slope_ratio,
        "first_waveform_s": calibration.first_waveform_s,
    }
    law = coarse_law(trial)
    if law is not None:
        head["law"] = law._asdict()
    if calibration.found is not None:
        head |= {"cuff_mmHg": calibration.found.cuff_mmHg, "interval_mmHg": calibration.found.interval_mmHg,
                 "set_point": calibration.found.set_point}
    return head


def search_curves(trial: Trial) -> dict[str, Any]:
    """Pressure, cuff and light over the search, thinned for drawing."""
    rows = trial.session.rows
    every = max(1, -(-len(rows) // MOST_POINTS))
    curves = {name: rows[::every, COLUMN[name]] for name in DRAWN}
    return {"time_s": np.arange(0, len(rows), every) * trial.period_s, **curves}
