"""What is in a package: the emitted unit, its settings, its vectors, and the texts around them."""
from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from controller.fixed.formats import Formats
from controller.fixed.law import FixedLaw
from controller.fixed.proof import prove
from controller.protection.protection import Protection, initial_protection, protection_step
from controller.protection.watched import Watched
from controller.tick.check_sum import settings_sum
from controller.tick.firmware import Firmware, Order, firmware_tick
from experiments.firmware.emit.kinds import COUNT, DOUBLE, FLAG, REAL, WHOLE, Kind, Numbers, Struct, kind_of, safe
from experiments.firmware.emit.single import Twins, rounded
from experiments.firmware.emit.unit import Emitted, Unit
from experiments.firmware.package.settings_text import Setting
from experiments.firmware.package.vectors_text import Suite, flat_kinds
from experiments.firmware.vectors.reference import (
    initial_firmware,
    law_reference,
    protection_reference,
    single_reference,
    usual_watched,
)
from experiments.firmware.vectors.stimulus import NOMINAL_mmHg, extremes, law_stimulus, values
from experiments.rigs.rig import Rig, clamp
from experiments.rigs.thresholds import thresholds
from experiments.simulation.coupled import closed_loop
from experiments.simulation.words import fixed_law

NAME = "servo"
LAW_TICKS, PROTECTION_TICKS = 160_000, 2_500  # of all the law's segments, and of each of the protection's
LASTING_TICKS = 7_000
# in single precision, whose reference is plain Python
QUICK_LAW_TICKS, QUICK_PROTECTION_TICKS, QUICK_LASTING_TICKS = 20_000, 400, 7_000


@dataclass(frozen=True)
class Contents:
    """A rig's firmware as C, and what it must answer."""

    rig: Rig
    numbers: Numbers
    unit: Unit
    roots: list[Emitted]
    settings: list[Setting]
    suites: list[Suite]
    fired: list[str]  # detectors that fire somewhere in the vectors
    formats: Formats | None = None  # of a law on words
    sums: dict[str, int] | None = None  # bits that each of its sums can take

    @property
    def number(self) -> str:
        """The arithmetic by its name."""
        return self.numbers.name if self.formats is None else "fixed"

    @property
    def saturated_ticks(self) -> int:
        """Ticks of the law's vectors on which the error or the demand is at the end of its word."""
        law, suite = self.settings[0].value.coefficients, self.suites[0]
        if not isinstance(law, FixedLaw):
            return 0
        error = suite.rows[:, suite.outputs.index("terms.error_mmHg")]
        demand = suite.rows[:, suite.outputs.index("terms.demand")]
        ends = [np.isin(error, (law.error.least * law.error_step, law.error.greatest * law.error_step)),
                np.isin(demand, (law.demand.least * law.demand_step, law.demand.greatest * law.demand_step))]
        return int(np.count_nonzero(ends[0] | ends[1]))


def firmware_of(rig: Rig, law: FixedLaw | None = None) -> Firmware:
    """The firmware of a rig, with its own law or with that on words."""
    firmware: Firmware = closed_loop(rig, 1).firmware
    return firmware if law is None else firmware._replace(coefficients=law)  # type: ignore[arg-type]


def protection_of(rig: Rig, firmware: Firmware, numbers: Numbers) -> Protection:
    """The protection of a rig; the check sum that it expects is made out in the target's arithmetic."""
    part: Protection = thresholds(rig).protection
    law: Any = firmware.coefficients
    if numbers == DOUBLE:
        own = settings_sum(law)
    else:
        own = Twins().twin(settings_sum)(rounded(law))
    return part._replace(settings_check=part.settings_check._replace(expected=int(own)))


def emitted(firmware: Firmware, part: Protection, numbers: Numbers) -> tuple[Unit, list[Emitted]]:
    """The unit of C, and its functions that can be called."""
    unit = Unit(numbers)
    order = Order(0, 0.0, 0.0, 0.0)
    roots = [
        unit.root(firmware_tick, firmware, initial_firmware(firmware), order, 0.0, 0.0), unit.root(initial_protection),
        unit.root(protection_step, part, initial_protection(), Watched), unit.root(settings_sum, firmware.coefficients),
    ]
    return unit, roots


def usual_inputs(rig: Rig, part: Protection) -> tuple[Watched, dict[str, tuple[float, float, float]]]:
    """What the protection sees in a quiet clamp, and how it swings."""
    point = clamp(rig, NOMINAL_mmHg, rig.tone.level)
    supply = rig.plant.supply.pressure_mmHg
    seen = usual_watched()._replace(
        period_s=rig.timing.period_s, mode=1, clamped_ticks=10_000, reading_mmHg=NOMINAL_mmHg, second_mmHg=NOMINAL_mmHg,
        supply_mmHg=supply, light=point.light, set_point=point.light, light_slope=point.light_slope)
    known: dict[str, Any] = {"light_noise": part.light_signal.noise, "emitter": 1.0, "searched": True}
    seen = seen._replace(**{name: value for name, value in known.items() if name in Watched._fields})
    pulse = (NOMINAL_mmHg, 20.0, 0.1)
    usual = {"reading_mmHg": pulse, "second_mmHg": pulse, "error_mmHg": (0.0, 1.0, 0.2),
             "light": (point.light, abs(2.0 * point.light_slope), abs(0.2 * point.light_slope)),
             "command": (0.1, 0.2, 0.01), "demand": (0.0, 0.2, 0.01), "pump_mL_s": (1.0, 0.5, 0.1)}
    return seen, {name: row for name, row in usual.items() if name in Watched._fields}


def _assign(kind: Struct, numbers: Numbers) -> list[str]:
    forms: dict[Kind, str] = {REAL: "in[{0}]", FLAG: f"in[{{0}}] > {numbers.literal(0.5)}",
                              WHOLE: f"(int32_t)floor{numbers.suffix}(in[{{0}}])",
                              COUNT: f"(uint32_t)floor{numbers.suffix}(in[{{0}}])"}
    on_top = {"settings": f"{NAME}_protection.settings_check.expected + "}  # has more bits than an input
    return [f".{safe(name)} = {on_top.get(name, '')}{forms[inner].format(i)}"
            for i, (name, inner) in enumerate(kind.fields)]


def suites_of(rig: Rig, unit: Unit, roots: list[Emitted], firmware: Firmware, part: Protection) -> list[Suite]:
    """The vectors of the law and those of the protection."""
    double = unit.numbers == DOUBLE
    law = law_stimulus(rig, LAW_TICKS if double else QUICK_LAW_TICKS)
    seen, usual = usual_inputs(rig, part)
    watch = extremes(seen, usual, PROTECTION_TICKS if double else QUICK_PROTECTION_TICKS,
                     LASTING_TICKS if double else QUICK_LASTING_TICKS)
    real: Any = np.float64 if double else np.float32
    given, sight = values(law, real), values(watch, real)
    law_names, law_rows = law_reference(firmware, given.astype(np.float64))
    watch_names, watch_rows = protection_reference(part, sight.astype(np.float64))
    if not double:
        with np.errstate(all="ignore"):
            law_rows, watch_rows = single_reference(firmware, part, given, sight)
    tick, step = roots[0], roots[2]
    assert isinstance(tick.result, Struct) and isinstance(tick.kinds[2], Struct) and isinstance(step.kinds[2], Struct)
    order, watched = tick.kinds[2], step.kinds[2]
    first = tick.result.fields[0][0]
    law_call = [f"const Order order = {{{', '.join(_assign(order, unit.numbers))}}};",
                f"const {tick.result.name} answer = {tick.name}(&{NAME}_firmware, state, &order, in[4], in[5]);",
                f"*state = answer.{first};"]
    step_call = [f"const Watched seen = {{{', '.join(_assign(watched, unit.numbers))}}};",
                 f"*state = {step.name}(&{NAME}_protection, state, &seen);"]
    written = list(flat_kinds(tick.result, "answer"))
    of_protection = list(flat_kinds(kind_of(initial_protection()), "(*state)"))
    return [
        Suite("law", law, given, law_names, law_rows, "FirmwareState", f"{NAME}_at_start", law_call, written),
        Suite("protection", watch, sight, watch_names, watch_rows, "ProtectionState", "initial_protection()",
              step_call, of_protection),
    ]


def fired_in(suite: Suite) -> list[str]:
    """Detectors that fire somewhere in a protection's vectors."""
    columns = [i for i, name in enumerate(suite.outputs) if name.endswith(".fires")]
    return [suite.outputs[i].removesuffix(".fires") for i in columns if np.any(suite.rows[:, i] > 0.5)]


def contents_of(rig: Rig, numbers: Numbers, words: int | None = None) -> Contents:
    """Everything that a package says about a rig, its law on words of so many bits if that is given.

    Raises Refusal for source that cannot be emitted, InputError for words in which the law has no plan.
    """
    made, firmware, part = code_of(rig, numbers, words)
    suites = suites_of(rig, made.unit, made.roots, firmware, part)
    return replace(made, suites=suites, fired=fired_in(suites[1]))


def code_of(rig: Rig, numbers: Numbers, words: int | None = None) -> tuple[Contents, Firmware, Protection]:
    """A rig's firmware as C without its vectors, and what it was made from. Raises as `contents_of` does."""
    planned = fixed_law(rig, words) if words is not None else None
    firmware = firmware_of(rig, planned[0] if planned else None)
    part = protection_of(rig, firmware, numbers)
    unit, roots = emitted(firmware, part, numbers)
    settings = [
        Setting(f"{NAME}_firmware", firmware,
                {"coefficients": "controller", "stage": "inverse", "filling": "filling"},
                "law, actuator stage and filling; coefficients follow from the table controller and timing.period_s"),
        Setting(f"{NAME}_protection", part, {},
                "protection: tables of the same names; what is left to the rig, filled in"),
        Setting(f"{NAME}_at_start", initial_firmware(firmware), {},
                "what the firmware remembers before its first tick"),
    ]
    made = Contents(rig, numbers, unit, roots, settings, [], [])
    made = made if planned is None else replace(made, formats=planned[1], sums=prove(planned[0]))
    return made, firmware, part

