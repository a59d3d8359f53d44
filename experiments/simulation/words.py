"""A rig's law on words in the coupled simulation: ranges from a run in doubles, and the same run with another law."""
from __future__ import annotations

from typing import Any

import numpy as np

from controller.fixed.formats import Formats, plan
from controller.fixed.law import FixedLaw, initial_fixed
from controller.fixed.ranges import Ranges, ranges_of, ranges_seen
from controller.tick.inverse import achieved_demand
from controller.tick.law import Coefficients, design
from experiments.rigs.rig import Rig
from experiments.simulation.simulate import USUAL, Ready, Run, prepare, run_ready
from plant.pressure.synthetic import SyntheticPressure, synthesise

PLAN = USUAL._replace(filled=True)
USUAL_s = 30.0  # of synthetic pressure, on which ranges are found when there is no other


def with_law(ready: Ready, law: Coefficients | FixedLaw) -> Ready:
    """The same run with another law."""
    firmware: Any = ready.loop.firmware._replace(coefficients=law)  # type: ignore[arg-type]
    ready = ready._replace(loop=ready.loop._replace(firmware=firmware))
    if isinstance(law, FixedLaw):
        state = ready.start.firmware._replace(control=initial_fixed())  # type: ignore[arg-type]
        ready = ready._replace(start=ready.start._replace(firmware=state))
    return ready


def reach_of_demand(rig: Rig, law: Coefficients, pressures_mmHg: list[float]) -> float:
    """The largest demand that a command within its limits meets, either way, at some pressures."""
    return max(abs(float(achieved_demand(rig.stage, command, pressure)))
               for command in (law.output_low, law.output_high) for pressure in pressures_mmHg)


def ranges_in(run: Run, rig: Rig, law: Coefficients, error_mmHg: float | None = None) -> Ranges:
    """Ranges for a rig's law from a run in doubles; `error_mmHg` chooses that of the error."""
    clamped = run.channels["mode"] == 1.0

    def largest(name: str) -> float:
        return float(np.max(np.abs(run.channels[name][clamped])))

    found = ranges_seen(law, largest("error_mmHg"), largest("derivative"), largest("demand"))
    if error_mmHg is not None:
        found = ranges_of(law, error_mmHg, found.rate, found.demand)
    cuff = run.channels["cuff_mmHg"][clamped]
    full = reach_of_demand(rig, law, [float(np.min(cuff)), float(np.max(cuff))])
    return found._replace(demand=max(found.demand, full))


def fixed_law(rig: Rig, words: int) -> tuple[FixedLaw, Formats]:
    """A rig's own law on words of so many bits, with ranges from synthetic pressure. Raises InputError."""
    law = design(rig.controller, rig.timing.period_s)
    trace = synthesise(SyntheticPressure(), rig.timing.period_s, USUAL_s, 1)
    return plan(law, words, ranges_in(run_ready(prepare(rig, trace, PLAN)), rig, law))
