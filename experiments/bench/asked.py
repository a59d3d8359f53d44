"""What the page asks for, checked: numbers of declared parameters and built-in kinds, nothing that could run code."""
from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from experiments.bench.setup import Setup, WINDOW_s, source
from experiments.rigs.rig import KINDS, PLAIN, Rig, Source
from plant.errors import InputError
from plant.messages import value_text

MOST_SETTINGS = 200
MOST_OFFSET_mmHg = 60.0
LONGEST_s = 30.0
Setting = float | bool | str


class Refused(InputError):
    """A request that cannot be met: one line, and the knob that it belongs to where there is one."""

    def __init__(self, line: str, key: str = "") -> None:
        super().__init__(line)
        self.key = key


class Unwanted(Exception):
    """A request that has become needless while it was answered: there is a newer one, or nobody listens."""


@dataclass(frozen=True)
class Asked:
    """A request of the page, checked."""

    setup: Setup
    rig: str
    settings: dict[str, Setting]
    moved: str = ""  # the knob that was moved last
    dragging: bool = False  # the hand is still on it: quick and coarse
    window_s: float = WINDOW_s
    offset_mmHg: float = 0.0  # transmural offset of the set point
    volume_error: float = 0.0  # relative error of the volume that is held
    options: dict[str, Any] = field(default_factory=dict)  # what only one answer reads, unchecked

    def source(self) -> Source:
        """The rig as plain data, settings in it, kinds first. Raises Refused."""
        found = source(self.setup, self.rig)
        for key in sorted(self.settings, key=lambda k: not k.endswith(".kind")):
            table, _, name = key.partition(".")
            found = found.changed(table, name, self.settings[key])
        return found

    def made(self) -> Rig:
        """The rig. Raises Refused with the knob that is to blame, as far as that can be said."""
        try:
            return self.source().rig()
        except InputError as error:
            raise Refused(spoken(error), self.blamed(str(error))) from None

    def blamed(self, line: str) -> str:
        """The knob that a complaint names, else the one that was moved last."""
        named = [key for key in self.settings if key in line]
        return self.moved if self.moved in named or not named else named[0]


def spoken(error: Exception) -> str:
    """A complaint without the name of the rig in front, which the reader of the page knows."""
    line = str(error)
    head, colon, rest = line.partition(": ")
    return rest if colon and ("." not in head or head.endswith(".toml")) and rest else line


def asked_of(setup: Setup, message: dict[str, Any]) -> Asked:
    """A message of the page as a request. Raises Refused with one line for the first thing that is wrong."""
    rig = message.get("rig", setup.rigs[0])
    if rig not in setup.rigs:
        raise Refused(f"rig = {value_text(rig)}: use one of {', '.join(setup.rigs)}")
    settings = message.get("settings", {})
    if not isinstance(settings, dict) or len(settings) > MOST_SETTINGS:
        raise Refused(f"settings must be a table of at most {MOST_SETTINGS} numbers")
    checked = {key: _setting(key, value) for key, value in settings.items()}
    options = message.get("options", {})
    moved = message.get("moved", "")
    return Asked(
        setup, rig, checked, moved if moved in checked else "", message.get("dragging") is True,
        _bounded(message, "window_s", WINDOW_s, 2.0, LONGEST_s),
        _bounded(message, "offset_mmHg", 0.0, -MOST_OFFSET_mmHg, MOST_OFFSET_mmHg),
        _bounded(message, "volume_error", 0.0, -0.9, 0.9), options if isinstance(options, dict) else {},
    )


def _setting(key: Any, value: Any) -> Setting:
    """A value that may be set from the page: of a declared table, and if it is a kind, a built-in one."""
    table, dot, name = str(key).partition(".")
    if not dot or not name.isidentifier() or (table not in PLAIN and table not in KINDS):
        raise Refused(f"{value_text(key)} is not a parameter of a rig")
    if name == "kind":
        if table not in KINDS or value not in KINDS[table]:
            built_in = ", ".join(KINDS.get(table, {})) or "none"
            raise Refused(f"{key} = {value_text(value)}: from the page only built-in kinds can be chosen: {built_in}",
                          str(key))
        return str(value)
    if isinstance(value, bool) or (isinstance(value, str) and len(value) <= 40 and value.isidentifier()):
        return value
    if isinstance(value, (int, float)) and math.isfinite(value):
        return value
    raise Refused(f"{key} = {value_text(value)} is not a finite number", str(key))


def _bounded(message: dict[str, Any], name: str, usual: float, low: float, high: float) -> float:
    value = message.get(name, usual)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise Refused(f"{name} = {value_text(value)} must be a number from {low:g} to {high:g}", name)
    return float(value)
