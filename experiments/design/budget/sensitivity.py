"""What each parameter of a rig costs: its natural step taken for real, and the local derivative beside it.

After the step the worse side of the valve counts for each figure; the derivative is that of the side that is the worse
one before it.

The firmware is not told: a valve that is slower than its data sheet is met by the controller and the flow inverse of
the valve that was expected. Only the light's slope is measured again, as every calibration does.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

from controller.margins.loop import sides
from experiments.design.budget.cost import LoopCost, difference, loop_cost, worst_cost
from experiments.design.budget.natural_steps import natural_step
from experiments.rigs.rig import Rig, Source
from experiments.rigs.table import rig_parts
from experiments.subjects.bands import Bands
from plant.declare import Declared, declared
from plant.errors import InputError
from plant.pneumatics.flow_valve import Side

RELATIVE_STEP = 2e-3  # relative step of the central differences
NOT_STEPPED = ("filling",)  # not a part of the loop


class Effect(NamedTuple):
    """One parameter."""

    name: str  # dotted
    unit: str
    present: Any
    value: Any  # after the natural step; None where there is none
    words: str  # what the natural step is
    effect: LoopCost | None  # changed by it; NaN where the step makes the loop unstable; None where it is impossible
    slope: LoopCost | None  # derivative by the parameter; None where it has none
    note: str  # why something is missing

    @property
    def unstable(self) -> bool:
        """Whether the natural step makes the loop unstable."""
        return self.effect is not None and math.isnan(self.effect.phase_margin_deg)


class Budget(NamedTuple):
    """All parameters of a rig at one pressure."""

    source: Source
    arterial_mmHg: float
    side: Side  # the worse one
    present: LoopCost  # worst of the sides
    effects: tuple[Effect, ...]  # in the order of the rig's tables


def worse_side(rig: Rig, arterial_mmHg: float, bands: Bands) -> Side:
    """The side of the valve with the smaller modulus margin. Raises InputError when it is unstable."""
    found = {side: loop_cost(rig, arterial_mmHg, side, bands).modulus_margin for side in sides(rig.plant)}
    side = min(found, key=lambda name: found[name])
    if not found[side] > 0.0:
        raise InputError(f"rig {rig.name}: unstable at {arterial_mmHg:g} mmHg on the {side} side: nothing to budget; "
                         "lower controller.kp first")
    return side


def changed_rig(source: Source, name: str, value: Any) -> Rig:
    """The rig with one value changed, and firmware that does not know. Raises InputError."""
    table, _, key = name.partition(".")
    rig = source.changed(table, key, value).rig()
    return rig if table == "actuator" else rig._replace(stage=source.rig().stage)


def budget(source: Source, arterial_mmHg: float, bands: Bands) -> Budget:
    """The effect of every parameter of a rig at an arterial pressure [mmHg]. Raises InputError."""
    rig = source.rig()
    side, present = worse_side(rig, arterial_mmHg, bands), worst_cost(rig, arterial_mmHg, bands)
    effects = []
    for table, part in rig_parts(rig).items():
        for parameter in declared(type(part)) if table not in NOT_STEPPED else ():
            if parameter.low is not None and parameter.low != parameter.high:
                value = getattr(part, parameter.name)
                effects.append(_effect(source, table, parameter, value, arterial_mmHg, side, present, bands))
    return Budget(source, arterial_mmHg, side, present, tuple(effects))


def _effect(
    source: Source, table: str, parameter: Declared, value: Any, arterial_mmHg: float, side: Side, present: LoopCost,
    bands: Bands,
) -> Effect:
    name, step = f"{table}.{parameter.name}", natural_step(table, parameter, value)

    def cost(changed: Any) -> LoopCost:
        return loop_cost(changed_rig(source, name, changed), arterial_mmHg, side, bands)

    def worst(changed: Any) -> LoopCost:
        return worst_cost(changed_rig(source, name, changed), arterial_mmHg, bands)

    effect, slope, note = None, None, "" if step else "no step: it is not there, or at its bound"
    try:
        effect = difference(worst(step.value), present) if step else None
    except InputError as error:
        note = str(error)
    try:
        slope = None if parameter.kind is int else _slope(cost, parameter, value)
    except InputError as error:
        note = note or str(error)
    return Effect(name, parameter.unit, value, step.value if step else None, step.words if step else "", effect, slope,
                  note)


def _slope(cost: Any, parameter: Declared, value: float) -> LoopCost | None:
    """Central difference, one-sided at a bound. None for a zero, whose scale nobody knows."""
    if value == 0.0:
        return None
    assert parameter.low is not None and parameter.high is not None
    reach = abs(value) * RELATIVE_STEP
    low, high = max(value - reach, parameter.low), min(value + reach, parameter.high)
    return LoopCost(*(change / (high - low) for change in difference(cost(high), cost(low))))
