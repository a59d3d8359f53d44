"""The answer to a turned knob: the loop and a run of the clamp, quick while the hand is on it, then in full."""
from __future__ import annotations

import functools
import time
from typing import Any

from experiments.bench.answers.kernel import load
from experiments.bench.answers.law import law_answer
from experiments.bench.answers.loop import loop_answer
from experiments.bench.answers.strips import FILL_s, SETTLE_s, Target, strips_answer
from experiments.bench.asked import Asked, Refused, spoken
from experiments.bench.repeats import repeats
from experiments.bench.setup import Setup, pressures, source, window
from experiments.bench.wire import Answer
from experiments.rigs.rig import Rig
from experiments.simulation.simulate import Plan, Ready, prepare
from experiments.work.progress import tell
from plant.errors import InputError
from plant.pneumatics.tube import Tube


def turned(asked: Asked) -> Answer:
    """Figures and curves of a rig as it is asked for. Raises Refused with one line for what cannot be.

    Whoever watches the work is told between its pieces, and may end it there.
    """
    begun = time.perf_counter()
    rig = asked.made()
    period = rig.timing.period_s
    try:
        target = Target(asked.offset_mmHg, asked.volume_error)
        law, curves = law_answer(rig, target)
        found, more = loop_answer(rig, pressures(asked.setup, period), law["offset_mmHg"], asked.dragging)
        curves |= more
        tell(0.6)
        strips, more = strips_answer(rig, window(asked.setup, period, asked.window_s), target, asked.dragging,
                                     pinned_sections(asked.setup, asked.rig))
    except InputError as error:
        raise Refused(spoken(error), asked.moved) from None
    head: dict[str, Any] = {
        "quick": asked.dragging, "loop": found, "strips": strips, "law": law, "values": followed(rig),
    }
    tell(0.9)
    if not asked.dragging:
        head["repeats"] = repeats(asked, rig)
    head["milliseconds"] = 1e3 * (time.perf_counter() - begun)
    return Answer(head, curves | more)


def followed(rig: Rig) -> dict[str, float]:
    """Values that the tool finds by itself, as they are now."""
    tube = rig.plant.tube
    return {"tube.sections": tube.sections} if isinstance(tube, Tube) else {}


@functools.lru_cache(maxsize=32)
def pinned_sections(setup: Setup, rig: str) -> int:
    """Sections of the tube of the rig as it was given, whose kernel is compiled at the start."""
    tube = source(setup, rig).rig().plant.tube
    return tube.sections if isinstance(tube, Tube) else 0


def ready_of(asked: Asked) -> Ready:
    """The run of a request, ready to begin. Raises InputError."""
    rig = asked.made()
    plan = Plan(FILL_s, SETTLE_s, offset_mmHg=asked.offset_mmHg, set_point_error=asked.volume_error, filled=True)
    return prepare(rig, window(asked.setup, rig.timing.period_s, asked.window_s), plan)


def warm(setup: Setup, rig: str) -> None:
    """Compile all that turning a rig's knobs needs, or read it from the cache. Raises InputError."""
    asked = Asked(setup, rig, {})
    load(ready_of(asked))
    turned(asked)
