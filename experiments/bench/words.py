"""What a page has to know before it asks anything: rigs, knobs, the record, failures, the caution."""
from __future__ import annotations

import functools
from typing import Any

from calibrate.search.strategies import BUILT_IN, USUAL
from experiments.bench.answers.broken import EARLIEST_s, LATEST_s, USUAL_s, failures_of, protections_of
from experiments.bench.knobs import featured, knobs_of
from experiments.bench.setup import Setup, WINDOWS_s, limits, record_words, source
from experiments.rigs.requirements import FIGURES
from experiments.work.output import CAUTION, own_version


@functools.lru_cache(maxsize=4)
def known(setup: Setup) -> dict[str, Any]:
    """All of it as plain data. Raises InputError for a rig that cannot be read."""
    return {
        "rigs": [rig_words(setup, name) for name in setup.rigs], "record": record_words(setup),
        "windows_s": list(WINDOWS_s), "strategies": list(BUILT_IN), "strategy": USUAL,
        "onset_s": [EARLIEST_s, LATEST_s], "onset_usual_s": USUAL_s, "caution": CAUTION, "version": own_version(),
        "figures": {name: {"unit": unit, "what": what} for name, (unit, what) in FIGURES.items()},
    }


def rig_words(setup: Setup, name: str) -> dict[str, Any]:
    """One rig: its name, what it is, its knobs and limits."""
    made = source(setup, name)
    rig = made.rig()
    knobs = knobs_of(rig)
    return {
        "name": name, "about": rig.about, "base": rig.base, "knobs": [knob.plain() for knob in knobs],
        "featured": featured(knobs), "limits": limits(setup, made.base), "failures": failures_of(rig),
        "protections": protections_of(rig),
    }
