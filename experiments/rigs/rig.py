"""Rigs: everything that makes up one instrument, read from a TOML file over a named built-in rig."""
from __future__ import annotations

import functools
import math
import tomllib
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from controller.protection.guards import TABLES, Guards, guards_from
from controller.tick.firmware import Filling
from controller.tick.inverse import Direct, FlowInverse, achieved_demand, valve_command
from controller.tick.law import Controller, design
from controller.tick.timing import Timing, dead_ticks
from experiments.rigs.spread_tables import CORRELATION, SPREAD, check_correlation, check_pairs, check_spread
from plant.assembly import Plant
from plant.electronics.transducer import Transducer
from plant.errors import InputError
from plant.finger.artery import Artery, unloaded_pressure
from plant.finger.light import Light, dark_sample_fits
from plant.finger.segment import Segment
from plant.finger.segment import linear_twin as segment_twin
from plant.finger.tissue import Tissue
from plant.finger.tone import ToneDrive
from plant.finger.vein import Vein
from plant.messages import one_line, value_text
from plant.operating_point import OperatingPoint, clamp_point
from plant.own_class import load_class
from plant.parts import (
    PLAIN_VALVE_VERBS,
    line_end_volume,
    line_node,
    line_rates,
    valve_flows,
    valve_nature,
    valve_play,
    valve_rates,
)
from plant.pneumatics.air import Air
from plant.pneumatics.cuff import Cuff
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.supply import Supply
from plant.pneumatics.tube import SECTIONS_MOST, NoTube, Tube, matched_factors
from plant.read_number import GROUPED
from plant.validate import validated

BUILT_IN = Path(__file__).parent
ALIASES = {"valve_near": "wrist", "valve_far": "cabinet"}  # by where the valve sits, in general words
METRES_PER_SECTION = 0.15
MOST_BYTES = 1_000_000  # of a TOML file
TEXTS, LONGEST_TEXT = ("name", "about"), 200
NOMINAL_mmHg = 90.0  # arterial pressure at which the design is looked at
LEAST_SLOPE = 1e-9  # of full scale per mmHg: a thousand times below the smallest converter step

PLAIN: dict[str, type] = {
    "tissue": Tissue, "artery": Artery, "segment": Segment, "tone": ToneDrive, "vein": Vein, "light": Light,
    "supply": Supply, "air": Air, "cuff": Cuff, "transducer": Transducer, "timing": Timing, "controller": Controller,
    "filling": Filling, **TABLES,
}
KINDS: dict[str, dict[str, type]] = {
    "valve": {"flow": FlowValve, "pressure": PressureValve},
    "tube": {"round": Tube, "none": NoTube},
    "actuator": {"direct": Direct, "flow_inverse": FlowInverse},
}
VERBS: dict[str, tuple[Any, ...]] = {  # what a part of the user's own must answer to
    "valve": (valve_rates, valve_flows, valve_play), "tube": (line_rates, line_node, line_end_volume),
    "actuator": (valve_command, achieved_demand),
}


class Rig(NamedTuple):
    """One instrument on one finger."""

    name: str
    about: str
    plant: Plant
    tone: ToneDrive
    timing: Timing
    controller: Controller
    stage: Direct | FlowInverse
    filling: Filling
    tables: dict[str, Any]  # the merged tables it was made from, for reports and reruns
    base: str  # the built-in rig beneath
    guards: Guards = Guards()  # what protects it; read by `cuffloop faults` only
    given: tuple[str, ...] = ()  # the name or path it was loaded by, then its settings; empty for one made otherwise
    design: Plant | None = None  # the plant that its firmware was designed on, whoever's finger it is on now
    design_tone: float = 0.0  # of the finger in it


def built_in_rigs() -> list[str]:
    """Names of the rigs that ship with the project (all invented)."""
    return sorted(p.stem for p in BUILT_IN.glob("*.toml") if not p.stem.endswith(("_requirements", "_scales")))


def read_toml(path: Path) -> dict[str, Any]:
    """A TOML file as a dict. Raises InputError with file, line and reason."""
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise InputError(f"{path}: more than {MOST_BYTES} bytes; this is no file of parameters")
        return tomllib.loads(content.decode("utf-8"))
    except FileNotFoundError:
        raise InputError(f"{path}: no such file") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: not UTF-8 text: byte {error.start + 1} is {content[error.start]:#04x}") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not valid TOML: {error}") from None
    except RecursionError:
        raise InputError(f"{path}: not valid TOML: nested too deeply") from None
    except InputError:
        raise
    except ValueError as error:  # a number of more digits than Python reads, a name that no file can have
        raise InputError(f"{path}: cannot be read: {error}") from None


class Source(NamedTuple):
    """A rig before it is made: plain data that any process can make it from, as it is or changed."""

    tables: dict[str, Any]
    where: str  # for messages
    folder: Path  # that a user's own parts are looked for in
    base: str

    def rig(self) -> Rig:
        """The rig. Raises InputError."""
        return make_rig(*self)

    def changed(self, table: str, key: str, value: Any) -> Source:
        """The same with one value changed; a new `kind` leaves the table's other values to their defaults."""
        return self._replace(tables={**self.tables, table: _merged_table(self.tables.get(table, {}), {key: value})})


def load_rig(name_or_path: str, settings: list[str] | None = None) -> Rig:
    """A rig by built-in name or TOML file, with `table.key=value` settings on top.

    Raises InputError naming the file, the key, the value and the allowed range.
    """
    return read_rig(name_or_path, settings).rig()._replace(given=(name_or_path, *(settings or ())))


def parameters_of(rig: Rig) -> Rig:
    """A rig less where it comes from: what two of them have in common that do the same."""
    return rig._replace(tables={}, given=())


def read_rig(name_or_path: str, settings: list[str] | None = None) -> Source:
    """The same, not made yet. Raises InputError for files that cannot be read and keys that no rig has."""
    built_in = ALIASES.get(name_or_path, name_or_path)
    if built_in in built_in_rigs():
        base, folder = built_in, Path.cwd()
        tables = read_toml(BUILT_IN / f"{built_in}.toml")
    else:
        path = Path(name_or_path)
        if path.suffix != ".toml":
            names = ", ".join((*built_in_rigs(), *ALIASES))
            raise InputError(f"{name_or_path}: not a built-in rig ({names}) and not a .toml file")
        base, tables = _over_base(path, read_toml(path))
        folder = path.parent
    where = name_or_path
    for setting in settings or []:
        tables = _apply_setting(tables, setting, where)
    return Source(tables, f"{where} with --set" if settings else where, folder, base)


def _over_base(path: Path, own: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """Name of the built-in rig that a file goes over, and the merged tables."""
    base = own.pop("base", "wrist")
    base = ALIASES.get(base, base) if isinstance(base, str) else base
    if base not in built_in_rigs():
        names = ", ".join((*built_in_rigs(), *ALIASES))
        raise InputError(f"{path}: base = {value_text(base)} is not a built-in rig; use one of {names}")
    merged = read_toml(BUILT_IN / f"{base}.toml")
    merged["name"], merged["about"] = path.stem, f"a variant of {base}"
    for key, value in own.items():
        merged[key] = _merged_table(merged.get(key), value)
    return base, merged


def _merged_table(old: Any, new: Any) -> Any:
    if not (isinstance(old, dict) and isinstance(new, dict)):
        return new
    if "kind" in new and new["kind"] != old.get("kind"):
        return new  # another class of part: the base's keys do not apply to it
    return {**old, **new}


def _apply_setting(tables: dict[str, Any], setting: str, where: str) -> dict[str, Any]:
    key, equals, text = setting.partition("=")
    table, dot, field = key.strip().partition(".")
    if not (equals and dot and table and field):
        raise InputError(f"--set {setting}: write table.key=value, for example tube.length_m=0.3")
    _check_table(table, tables.get(table, {}), where if table in tables else f"--set {setting}")
    if GROUPED.fullmatch(text.strip()):
        raise InputError(f"--set {setting}: write the number without _")
    try:
        found = tomllib.loads(f"value = {text.strip()}")
    except (ValueError, RecursionError):
        found = {"value": text.strip()}  # a bare word, such as a kind or a method
    if len(found) != 1:
        raise InputError(f"--set {setting}: one value only; give --set again for another")
    return {**tables, table: _merged_table(tables.get(table, {}), {field: found["value"]})}


def _check_table(key: str, value: Any, where: str) -> None:
    if key in TEXTS:
        if not isinstance(value, str) or len(value) > LONGEST_TEXT or not value.isprintable():
            raise InputError(
                f"{where}: {key} = {value_text(value)} must be text of one line, at most {LONGEST_TEXT} characters"
            )
    elif key == SPREAD:
        check_spread(value, (*PLAIN, *KINDS), where)
    elif key == CORRELATION:
        check_correlation(value, where)
    elif key not in PLAIN and key not in KINDS:
        known = ", ".join(sorted((*TEXTS, *PLAIN, *KINDS)))
        raise InputError(f"{where}: [{one_line(key, 60)}] is not a table of a rig; use one of {known}")
    elif not isinstance(value, dict):
        raise InputError(f"{where}: {key} = {value_text(value)} must be a table, as in [{key}]")


def make_rig(tables: dict[str, Any], where: str, folder: Path, base: str = "wrist") -> Rig:
    """A rig from its merged tables. `where` names the source in messages, `base` the built-in rig beneath.

    Raises InputError for what is wrong in one key, and for keys that are at odds with each other.
    """
    for key, value in tables.items():
        _check_table(key, value, where)
    check_pairs(tables, where)
    made = {key: validated(kind, tables.get(key, {}), where, key) for key, kind in PLAIN.items()}
    valve = _make_kind("valve", tables.get("valve", {}), where, folder)
    tube = _make_kind("tube", tables.get("tube", {}), where, folder)
    if isinstance(tube, Tube):
        tube = _completed(tube, made["air"])
    actuator = dict(tables.get("actuator", {}))
    if actuator.get("kind") == "flow_inverse":
        actuator = {**_nominal_beliefs(valve, made["supply"], made["air"], where), **actuator}
    try:
        dead_ticks(made["timing"])
        dark_sample_fits(made["light"], made["timing"].period_s)
        design(made["controller"], made["timing"].period_s)
    except InputError as error:
        raise InputError(f"{where}: {error}") from None
    plant = Plant(
        made["tissue"], made["artery"], made["segment"], made["vein"], made["light"], valve, made["supply"],
        made["air"], tube, made["cuff"], made["transducer"],
    )
    return Rig(
        tables.get("name", "unnamed"), tables.get("about", ""), plant, made["tone"], made["timing"],
        made["controller"], _make_kind("actuator", actuator, where, folder), made["filling"], tables, base,
        guards_from(made), design=plant, design_tone=made["tone"].level,
    )


def _completed(tube: Tube, air: Air) -> Tube:
    """A tube with what its zeros leave to the tool: enough sections, and factors matched to the exact viscous line."""
    sections = tube.sections or min(max(1, math.ceil(tube.length_m / METRES_PER_SECTION - 1e-9)), SECTIONS_MOST)
    loss, inertance = matched_factors(tube, air, 90.0)
    return tube._replace(
        sections=sections, loss_factor=tube.loss_factor or loss, inertance_factor=tube.inertance_factor or inertance
    )


def _make_kind(table: str, values: dict[str, Any], where: str, folder: Path) -> Any:
    kinds = KINDS[table]
    kind = values.get("kind", next(iter(kinds)))
    rest = {k: v for k, v in values.items() if k != "kind"}
    if isinstance(kind, str) and kind in kinds:
        return validated(kinds[kind], rest, where, table)
    if isinstance(kind, str) and ".py:" in kind:
        own = load_class(kind, folder, f"{where}: {table}.kind", VERBS[table])
        if not (issubclass(own, tuple(kinds.values())) or (table == "valve" and _answers(own))):
            bases = " or ".join(base.__name__ for base in kinds.values())
            own_twin = ", or register valve_nature, valve_at_rest and valve_twin" if table == "valve" else ""
            raise InputError(f"{where}: {table}.kind = {value_text(kind)}: derive it from {bases}{own_twin}")
        return validated(own, rest, where, table)
    raise InputError(
        f"{where}: {table}.kind = {value_text(kind)}: use one of {', '.join(kinds)}, or FILE.py:Class for your own"
    )


def _answers(own: type) -> bool:
    """Whether a class of the user's has its own operating point and twin."""
    return all(verb.dispatch(own) is not verb.dispatch(object) for verb in PLAIN_VALVE_VERBS)


def _nominal_beliefs(valve: Any, supply: Supply, air: Air, where: str) -> dict[str, Any]:
    """An inverse believes in the nominal valve unless the rig says otherwise."""
    openings = valve_nature(valve).openings
    if openings is None:
        raise InputError(f"{where}: actuator.kind = 'flow_inverse' needs valve.kind = 'flow', or another valve whose "
                         "valve_nature tells its openings")
    return {
        "supply_mmHg": supply.pressure_mmHg, **openings._asdict(), "atmosphere_mmHg": air.atmosphere_mmHg,
    }


def left_to_tool(rig: Rig, table: str, key: str) -> bool:
    """Whether a value follows from the rest of the rig: a tube's 0, or what an inverse believes and nobody gave."""
    given = rig.tables.get(table, {})
    if table == "tube" and isinstance(rig.plant.tube, Tube):
        return key in ("sections", "loss_factor", "inertance_factor") and given.get(key) == 0
    if table == "actuator" and isinstance(rig.stage, FlowInverse) and given.get("kind") == "flow_inverse":
        return key != "full_flow_mL_s" and key not in given
    return False


def tone_share(rig: Rig, tone: float, offset_mmHg: float = 0.0) -> float:
    """What a tone at the design crossover shows of this finger's slow light slope, over that on the design's finger.

    Blood leaves a soft or long segment more slowly: there the tone sees less of the slope, and the loop crosses 1 by
    what it sees. 1 on the rig's own finger.
    """
    plant, design = rig.plant, rig.design
    if design is None or ((plant.artery, plant.segment) == (design.artery, design.segment) and tone == rig.design_tone):
        return 1.0
    omega = np.array([2.0 * math.pi * probe_Hz(rig)])
    own, nominal = (
        segment_twin(p.segment, p.artery, float(unloaded_pressure(p.artery, m)) + offset, m).response(
            "transmural_pressure", "arterial_pressure", omega)[0]
        for p, m, offset in ((plant, tone, offset_mmHg), (design, rig.design_tone, 0.0))
    )
    return float((own / nominal).real)


def probe_Hz(rig: Rig) -> float:
    """Crossover [Hz] of the design at a nominal pressure, within what a tone can be heard at."""
    assert rig.design is not None
    return _probe_Hz(rig.design, rig.design_tone, rig.timing, rig.stage, rig.controller)


@functools.lru_cache(maxsize=256)
def _probe_Hz(plant: Plant, tone: float, timing: Timing, stage: Any, controller: Controller) -> float:
    from controller.margins.loop import build_loop, loop_margins

    point = clamp_point(plant, NOMINAL_mmHg, tone)
    loop = build_loop(plant, point, "fill", timing, stage, design(controller, timing.period_s))
    crossover = loop_margins(loop).crossover_Hz
    return float(np.clip(crossover if math.isfinite(crossover) else 20.0, 8.0, 0.08 / timing.period_s))


def clamp(rig: Rig, arterial_mmHg: float, tone: float, offset_mmHg: float = 0.0) -> OperatingPoint:
    """The steady clamp of a rig at an arterial pressure [mmHg].

    Raises InputError, naming the rig, when it cannot clamp there or its light does not tell of the artery.
    """
    try:
        point = clamp_point(rig.plant, arterial_mmHg, tone, offset_mmHg)
    except InputError as error:
        raise InputError(f"rig {rig.name}: {error}") from None
    point = point._replace(light_slope=point.light_slope * tone_share(rig, tone, offset_mmHg))
    if not LEAST_SLOPE < abs(point.light_slope) < math.inf:
        raise InputError(
            f"rig {rig.name}: the light at {arterial_mmHg:.4g} mmHg arterial pressure changes by "
            f"{point.light_slope:.3g} of full scale per mmHg, too little to hold on to; raise light.emitter, "
            "light.transmission or light.arterial_path_cm, or lower light.venous_path_cm"
        )
    return point
