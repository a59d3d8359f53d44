"""Rigs: everything that makes up one instrument, read from a TOML file over a named built-in rig."""
from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any, NamedTuple

from controller.firmware import Filling
from controller.inverse import Direct, FlowInverse
from controller.law import Controller
from controller.timing import Timing, dead_ticks
from experiments.parts_file import load_class
from experiments.validate import validated
from plant.air import Air
from plant.artery import Artery
from plant.assembly import Plant
from plant.cuff import Cuff
from plant.errors import InputError
from plant.flow_valve import FlowValve
from plant.light import Light
from plant.pressure_valve import PressureValve
from plant.supply import Supply
from plant.tissue import Tissue
from plant.tone import ToneDrive
from plant.transducer import Transducer
from plant.tube import SECTIONS_MOST, NoTube, Tube, matched_factors
from plant.vein import Vein

BUILT_IN = Path(__file__).parent / "rigs"
METRES_PER_SECTION = 0.15

PLAIN: dict[str, type] = {
    "tissue": Tissue, "artery": Artery, "tone": ToneDrive, "vein": Vein, "light": Light, "supply": Supply, "air": Air,
    "cuff": Cuff, "transducer": Transducer, "timing": Timing, "controller": Controller, "filling": Filling,
}
KINDS: dict[str, dict[str, type]] = {
    "valve": {"flow": FlowValve, "pressure": PressureValve},
    "tube": {"round": Tube, "none": NoTube},
    "actuator": {"direct": Direct, "flow_inverse": FlowInverse},
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


def built_in_rigs() -> list[str]:
    """Names of the rigs that ship with the project (all invented)."""
    return sorted(p.stem for p in BUILT_IN.glob("*.toml") if not p.stem.endswith("_requirements"))


def read_toml(path: Path) -> dict[str, Any]:
    """A TOML file as a dict. Raises InputError with file, line and reason."""
    try:
        with path.open("rb") as file:
            return tomllib.load(file)
    except FileNotFoundError:
        raise InputError(f"{path}: no such file") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as UTF-8 text: {_first_line(error)}") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not valid TOML: {_first_line(error)}") from None
    except RecursionError:
        raise InputError(f"{path}: not valid TOML: nested too deeply") from None


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]


def load_rig(name_or_path: str, settings: list[str] | None = None) -> Rig:
    """A rig by built-in name or TOML file, with `table.key=value` settings on top.

    Raises InputError naming the file, the key, the value and the allowed range.
    """
    if name_or_path in built_in_rigs():
        path = BUILT_IN / f"{name_or_path}.toml"
        tables = read_toml(path)
    else:
        path = Path(name_or_path)
        if path.suffix != ".toml":
            raise InputError(f"{name_or_path}: not a built-in rig ({', '.join(built_in_rigs())}) and not a .toml file")
        tables = _over_base(path, read_toml(path))
    where = str(path)
    for setting in settings or []:
        tables = _apply_setting(tables, setting)
        where = f"{path} with --set"
    return make_rig(tables, where, path.parent)


def _over_base(path: Path, own: dict[str, Any]) -> dict[str, Any]:
    base_name = own.pop("base", "wrist")
    if base_name not in built_in_rigs():
        raise InputError(f"{path}: base = {base_name!r} is not a built-in rig; use one of {', '.join(built_in_rigs())}")
    merged = read_toml(BUILT_IN / f"{base_name}.toml")
    merged["name"], merged["about"] = path.stem, f"a variant of {base_name}"
    for key, value in own.items():
        merged[key] = _merged_table(merged.get(key), value)
    return merged


def _merged_table(old: Any, new: Any) -> Any:
    if not (isinstance(old, dict) and isinstance(new, dict)):
        return new
    if "kind" in new and new["kind"] != old.get("kind"):
        return new  # another class of part: the base's keys do not apply to it
    return {**old, **new}


def _apply_setting(tables: dict[str, Any], setting: str) -> dict[str, Any]:
    key, equals, text = setting.partition("=")
    table, dot, field = key.strip().partition(".")
    if not (equals and dot and table and field):
        raise InputError(f"--set {setting}: write table.key=value, for example tube.length_m=0.3")
    try:
        value = tomllib.loads(f"value = {text.strip()}")["value"]
    except tomllib.TOMLDecodeError:
        value = text.strip()  # a bare word, such as a kind or a method
    return {**tables, table: _merged_table(tables.get(table, {}), {field: value})}


def make_rig(tables: dict[str, Any], where: str, folder: Path) -> Rig:
    """A rig from its merged tables. `where` names the source in messages."""
    known = {"name", "about", *PLAIN, *KINDS}
    for key, value in tables.items():
        if key not in known:
            raise InputError(f"{where}: [{key}] is not a table of a rig; use one of {', '.join(sorted(known))}")
        if key not in ("name", "about") and not isinstance(value, dict):
            raise InputError(f"{where}: {key} = {value!r} must be a table, as in [{key}]")
    made = {key: validated(kind, tables.get(key, {}), where, key) for key, kind in PLAIN.items()}
    valve = _make_kind("valve", tables.get("valve", {}), where, folder)
    tube = _make_kind("tube", tables.get("tube", {}), where, folder)
    if isinstance(tube, Tube):
        tube = _completed(tube, made["air"])
    actuator = dict(tables.get("actuator", {}))
    if actuator.get("kind") == "flow_inverse":
        actuator = {**_nominal_beliefs(valve, made["supply"], made["air"], where), **actuator}
    dead_ticks(made["timing"])  # says what is wrong with jitter and dead time together
    plant = Plant(
        made["tissue"], made["artery"], made["vein"], made["light"], valve, made["supply"], made["air"], tube,
        made["cuff"], made["transducer"],
    )
    return Rig(
        str(tables.get("name", "unnamed")), str(tables.get("about", "")), plant, made["tone"], made["timing"],
        made["controller"], _make_kind("actuator", actuator, where, folder), made["filling"], tables,
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
        return validated(load_class(kind, folder, f"{where}: {table}.kind"), rest, where, table)
    raise InputError(f"{where}: {table}.kind = {kind!r}: use one of {', '.join(kinds)}, or FILE.py:Class for your own")


def _nominal_beliefs(valve: Any, supply: Supply, air: Air, where: str) -> dict[str, Any]:
    """An inverse believes in the nominal valve unless the rig says otherwise."""
    if not isinstance(valve, FlowValve):
        raise InputError(f"{where}: actuator.kind = 'flow_inverse' needs valve.kind = 'flow'")
    return {
        "supply_mmHg": supply.pressure_mmHg, "conductance": valve.conductance, "critical_ratio": valve.critical_ratio,
        "dead_band": valve.dead_band, "bleed_conductance": valve.bleed_conductance,
        "atmosphere_mmHg": air.atmosphere_mmHg,
    }
