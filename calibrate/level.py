"""What stands between a clamp's reading and the pressure at heart level in the upper arm: one line for each cause.

    p_arm = (reading · η + p0) + ρ g h + (finger → arm) − gradient
A clamp at the unloaded volume reads (p_a − p0)/η: p0, the transmural pressure of the peak compliance, and the
transmission η of the cuff's fit are the finger's. Height is hydrostatic, the step to the arm a law fitted elsewhere,
the gradient what no law explains. Each line has a value that is added and the SD of what it leaves; they are kept
apart, as each is measured, or supposed, in its own way. Spreads without a source are invented.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import quantity
from plant.units import hydrostatic_mmHg


class LevelKnown(NamedTuple):
    """What is known, or supposed, of a wearer's finger and hand."""

    p0_mmHg: Annotated[
        float, quantity("mmHg", -30, 30, "transmural pressure of the unloaded volume", "as of the rig's finger")
    ] = 5.0
    p0_sd_mmHg: Annotated[float, quantity("mmHg", 0, 20, "its spread over fingers", "invented")] = 3.0
    transmission: Annotated[float, quantity("1", 0.3, 1, "share of cuff pressure at the artery", "ideal fit")] = 1.0
    transmission_sd: Annotated[float, quantity("1", 0, 0.2, "its spread over fits", "invented")] = 0.01
    height_m: Annotated[float, quantity("m", -1, 1, "finger above the heart", "scenario")] = 0.0
    height_sd_m: Annotated[float, quantity("m", 0, 0.5, "error of that height", "invented")] = 0.02
    gradient_mmHg: Annotated[float, quantity("mmHg", -40, 40, "finger minus what laws expect", "0 if not known")] = 0.0
    gradient_sd_mmHg: Annotated[
        float, quantity("mmHg", 0, 40, "its spread over people", "invented; published pairs scatter 7–13 mmHg")
    ] = 8.0
    set_point_sd_mmHg: Annotated[
        float, quantity("mmHg", 0, 30, "error of the set point, as transmural pressure", "what the search says")
    ] = 2.0


class LevelLine(NamedTuple):
    """One line of the budget [mmHg]."""

    name: str
    value_mmHg: float  # added to the reading
    sd_mmHg: float  # of what is left
    common: bool  # the same from one minute to the next, so that a change does not see it


class LevelBudget(NamedTuple):
    """All lines, for a reading of one mean pressure."""

    lines: tuple[LevelLine, ...]

    @property
    def value_mmHg(self) -> float:
        """What is added to the reading."""
        return sum(line.value_mmHg for line in self.lines)

    @property
    def sd_mmHg(self) -> float:
        """SD of what all lines leave, as independent errors."""
        return math.sqrt(sum(line.sd_mmHg**2 for line in self.lines))

    @property
    def changing_sd_mmHg(self) -> float:
        """The same of lines that can differ from one reading to the next."""
        return math.sqrt(sum(line.sd_mmHg**2 for line in self.lines if not line.common))


def referred(budget: LevelBudget, shift_mmHg: float, sd_mmHg: float) -> LevelBudget:
    """The budget once a cuff at the upper arm was read: one line takes the place of the others' spread."""
    kept = tuple(line._replace(sd_mmHg=0.0) for line in budget.lines)
    return LevelBudget((*kept, LevelLine("cuff reference", shift_mmHg, sd_mmHg, True)))


def level_budget(
    known: LevelKnown, reading_mmHg: float, to_arm_mmHg: float = 0.0, to_arm_sd_mmHg: float = 0.0
) -> LevelBudget:
    """The budget at a mean reading; the step from finger to arm with its SD is given by whoever has a law for it."""
    per_m = hydrostatic_mmHg(1.0)
    return LevelBudget((
        LevelLine("unloaded volume p0", known.p0_mmHg, known.p0_sd_mmHg, True),
        LevelLine("set point", 0.0, known.set_point_sd_mmHg, False),
        LevelLine("transmission", (known.transmission - 1.0) * reading_mmHg, known.transmission_sd * reading_mmHg,
                  True),
        LevelLine("height", per_m * known.height_m, per_m * known.height_sd_m, False),
        LevelLine("finger to arm", to_arm_mmHg, to_arm_sd_mmHg, True),
        LevelLine("finger gradient", 0.0 - known.gradient_mmHg, known.gradient_sd_mmHg, True),
    ))
