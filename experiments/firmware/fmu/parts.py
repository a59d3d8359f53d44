"""What each unit holds: its variables, the functions it is made of, and the C that runs a tick."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

from controller.tick.firmware import CLAMP, FILL, Order, firmware_tick
from experiments.firmware.emit.kinds import DOUBLE
from experiments.firmware.emit.unit import Emitted, Unit
from experiments.firmware.package.settings_text import Setting
from experiments.firmware.vectors.reference import initial_firmware
from experiments.firmware.vectors.stimulus import NOMINAL_mmHg
from experiments.rigs.rig import Rig, clamp
from experiments.simulation.coupled import ClosedLoop, Instant, closed_loop, is_missed, switch_share, take_sample
from experiments.simulation.steps import steps_a_tick
from plant.assembly import Course, Surroundings, Switchover, initial_state, plant_tick
from plant.parts import valve_play

NAME = "model_code"
PARTS = ("controller", "plant", "loop")


class Variable(NamedTuple):
    """A variable of a unit."""

    name: str
    kind: str  # Float64, Int32 or Boolean
    causality: str  # input, output or parameter
    unit: str
    start: float
    text: str


@dataclass(frozen=True)
class Part:
    """A unit: variables, emitted C, settings, and the body of its model."""

    name: str
    variables: list[Variable]
    unit: Unit
    roots: list[Emitted]
    settings: list[Setting]
    state: list[str]  # lines of its struct
    body: list[str]  # lines of model.c
    period_s: float


def part_of(rig: Rig, name: str, seed: int = 1, arterial_mmHg: float = NOMINAL_mmHg) -> Part:
    """A rig's controller, plant or loop, at rest at an arterial pressure. Raises Refusal for what cannot be emitted."""
    point = clamp(rig, NOMINAL_mmHg, rig.tone.level)
    loop = closed_loop(rig, steps_a_tick(rig, point))
    around = Surroundings(arterial_mmHg, rig.tone.level, rig.plant.light.ambient)
    plant, firmware = name != "controller", name != "plant"
    surrounding = [
        Variable("arterial_mmHg", "Float64", "input", "mmHg", arterial_mmHg, "arterial pressure at the step's end"),
        Variable("tone", "Float64", "input", "1", around.tone, "vascular tone: 0 resting, + constricted"),
        Variable("ambient", "Float64", "input", "1", around.ambient, "ambient light, share of full scale"),
    ]
    asked = [
        Variable("fill_mmHg", "Float64", "input", "mmHg", point.state.cuff_mmHg, "cuff pressure asked for in mode 0"),
        Variable("set_point", "Float64", "input", "1", point.light, "light asked for in mode 1"),
        Variable("light_slope", "Float64", "input", "1/mmHg", point.light_slope, "light per cuff pressure there"),
    ]
    seen = [("light", "1", "light as the firmware reads it"), ("reading_mmHg", "mmHg", "cuff pressure as it reads it")]
    read = [Variable(key, "Float64", "output" if plant else "input", unit, 0.0, text) for key, unit, text in seen]
    command = Variable("command", "Float64", "output" if firmware else "input", "1", 0.0, "valve command")
    cuff = [Variable("cuff_mmHg", "Float64", "output", "mmHg", 0.0, "pressure in the cuff")]
    terms = [Variable("error_mmHg", "Float64", "output", "mmHg", 0.0, "servo error"),
             Variable("demand", "Float64", "output", "1", 0.0, "what the law demands of the actuator")]
    reals = [*(surrounding if plant else []), *(asked if firmware else []), *read, command, *(cuff if plant else []),
             *(terms if firmware else [])]
    wholes = [Variable("mode", "Int32", "input", "", FILL, "0 fill, 1 clamp, 2 vent")] if firmware else []
    wholes += [Variable("seed", "Int32", "parameter", "", seed, "of the noise")] if plant else []
    flags = [Variable("limited", "Boolean", "output", "", 0.0, "a limit acted on the command")] if firmware else []
    ordered = sorted(reals, key=lambda v: v.causality != "input")
    unit, roots = _emitted(loop, around, plant, firmware, rig)
    settings = _settings(loop, around, plant, firmware, rig)
    return Part(name, [*ordered, *wholes, *flags], unit, list(roots.values()), settings, _state(loop, plant, firmware),
                _body(ordered, wholes, plant, firmware, roots), rig.timing.period_s)


def _emitted(
    loop: ClosedLoop, around: Surroundings, plant: bool, firmware: bool, rig: Rig
) -> tuple[Unit, dict[str, Emitted]]:
    unit, order = Unit(DOUBLE), Order(CLAMP, 0.0, 0.0, 0.0)
    roots: dict[str, Emitted] = {}
    if plant:
        state, course = initial_state(rig.plant, around), Course(around, around)
        now = Instant(0, 0, course, order)
        roots = {
            "plant_tick": unit.root(plant_tick, loop.plant, state, course, Switchover(0.0, 0.0, 0.0), 1.0, 0.001),
            "take_sample": unit.root(take_sample, loop, state, now), "switch_share": unit.root(switch_share, loop, now),
            "valve_play": unit.root(valve_play, loop.plant.valve, 0.0, 0.0),
            "is_missed": unit.root(is_missed, loop, now)}
    if firmware:
        begun = initial_firmware(loop.firmware)
        roots["firmware_tick"] = unit.root(firmware_tick, loop.firmware, begun, order, 0.0, 0.0)
    return unit, roots


def _settings(loop: ClosedLoop, around: Surroundings, plant: bool, firmware: bool, rig: Rig) -> list[Setting]:
    begun = Setting("firmware_at_start", initial_firmware(loop.firmware), {},
                    "what the firmware remembers before its first tick")
    if not plant:
        return [Setting("firmware_settings", loop.firmware, {}, "law, actuator stage and filling"), begun]
    return [Setting("loop_settings", loop, {}, "plant, firmware and timing"),
            Setting("plant_at_start", initial_state(rig.plant, around), {}, "the plant at rest with an empty cuff"),
            *([begun] if firmware else [])]


def _state(loop: ClosedLoop, plant: bool, firmware: bool) -> list[str]:
    lines = []
    if plant:
        ring = loop.clock.whole_ticks + 2
        lines += ["    PlantState plant;", "    Surroundings before; /* at the beginning of the next tick */",
                  "    double played;", "    int32_t tick;",
                  f"    double under_way[{ring}]; /* commands, a ring by tick */"]
    if firmware:
        lines.append("    FirmwareState firmware;")
    return lines


def _assign(names: list[str], wanted: tuple[str, ...], struct: str) -> str:
    parts = ", ".join(f".{name} = own->reals[{names.index(name)}]" for name in wanted)
    return f"({struct}){{{parts}}}"


def _body(
    reals: list[Variable], wholes: list[Variable], plant: bool, firmware: bool, called: dict[str, Emitted]
) -> list[str]:
    names = [v.name for v in reals]
    place = {name: f"own->reals[{i}]" for i, name in enumerate(names)}
    start = [f"    {place[v.name]} = {float(v.start).hex()};" for v in reals]
    start += [f"    own->wholes[{i}] = {int(v.start)};" for i, v in enumerate(wholes)]
    around = _assign(names, ("arterial_mmHg", "tone", "ambient"), "Surroundings") if plant else ""
    seed = f"own->wholes[{[v.name for v in wholes].index('seed')}]" if plant else "0"
    tick: list[str] = []
    output: list[str] = []
    begin: list[str] = []
    if plant:
        start += ["    own->plant = plant_at_start;"]
        begin += [f"    own->before = {around};"]
        now = f"(Instant){{.seed = {seed}, .tick = own->tick, .course = {{.start = own->before, .end = AFTER}}}}"
        output += [f"    const Instant now = {now.replace('AFTER', 'own->before')};",
                   f"    const Sample sample = {called['take_sample'].name}(&loop_settings, &own->plant, &now);",
                   f"    {place['light']} = sample.light;", f"    {place['reading_mmHg']} = sample.reading_mmHg;",
                   f"    {place['cuff_mmHg']} = own->plant.cuff_mmHg;"]
        tick += [f"    const Surroundings after = {around};",
                 f"    const Instant now = {now.replace('AFTER', 'after')};",
                 "    const int32_t ring = (int32_t)(sizeof own->under_way / sizeof own->under_way[0]);"]
    if firmware:
        start.append("    own->firmware = firmware_at_start;")
        tick += _firmware_lines(place, names, plant, called)
    if plant:
        tick += [
            f"    own->under_way[own->tick % ring] = {place['command']};",
            "    const double due = own->under_way[(own->tick + ring - loop_settings.clock.whole_ticks) % ring];",
            f"    const double arriving = {called['valve_play'].name}(&loop_settings.plant.valve, own->played, due);",
            "    const Switchover change = {.old = own->played, .new = arriving,",
            f"        .share = {called['switch_share'].name}(&loop_settings, &now)}};",
            f"    own->plant = {called['plant_tick'].name}(&loop_settings.plant, &own->plant, &now.course, &change,",
            "        loop_settings.clock.substeps, loop_settings.clock.period_s);",
            "    own->before = after;", "    own->played = arriving;", "    own->tick++;"]
    unused = ["    (void)own;"]
    return ["void model_start(Model *own)", "{", *start, "}", "", "void model_begin(Model *own)", "{",
            *(begin or unused), "}", "", "void model_tick(Model *own)", "{", *tick, "}", "",
            "void model_output(Model *own)", "{", *(output or unused), "}", ""]


def _firmware_lines(place: dict[str, str], names: list[str], plant: bool, called: dict[str, Emitted]) -> list[str]:
    """C of the firmware's tick; in a loop it samples the plant first, and on a missed tick nothing runs."""
    tick = called["firmware_tick"]
    result: Any = tick.result
    state, command, terms, limited = (name for name, _ in result.fields)
    settings = "&loop_settings.firmware" if plant else "&firmware_settings"
    order = _assign(names, ("fill_mmHg", "set_point", "light_slope"), "Order").replace("{", "{.mode = own->wholes[0], ")
    light, reading = place["light"], place["reading_mmHg"]
    lines = []
    if plant:
        lines = [f"    const Sample sample = {called['take_sample'].name}(&loop_settings, &own->plant, &now);",
                 f"    if (!{called['is_missed'].name}(&loop_settings, &now)) {{"]
        light, reading = "sample.light", "sample.reading_mmHg"
    inside = [f"    const Order order = {order};",
              f"    const {result.name} answer = {tick.name}({settings}, &own->firmware, &order, {light}, {reading});",
              f"    own->firmware = answer.{state};", f"    {place['command']} = answer.{command};",
              f"    {place['error_mmHg']} = answer.{terms}.error_mmHg;",
              f"    {place['demand']} = answer.{terms}.demand;",
              f"    own->flag = answer.{limited};"]
    return [*lines, *(f"    {line}" if plant else line for line in inside), *(["    }"] if plant else [])]
