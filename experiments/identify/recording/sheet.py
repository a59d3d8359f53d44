"""The sheet: a small TOML file that says what was played in each recording, and what is known otherwise.

    base = "cabinet"
    [known]
    "cuff.volume_mL" = { value = 2.5, sd = 0.05 }
    [[recording]]
    file = "step.csv"
    played = "step"
"""
from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

from experiments.identify.recording.recording import CHANNELS, KINDS
from experiments.rigs.rig import read_toml
from plant.declare import quantity, switch
from plant.errors import InputError
from plant.messages import one_line, value_text
from plant.validate import validated

TOP = ("about", "base", "known", "recording")
Kind = Literal[
    "step", "chirp", "multisine", "sweep", "leak_down", "vent_down", "fill", "droop", "click", "lamp", "ramp"]
LARGEST = 1e6


class Entry(NamedTuple):
    """One recording as the sheet tells of it."""

    file: Annotated[str, switch("its file: .csv, .parquet, or a WFDB record", "none")]
    played: Annotated[Kind, switch("what was played", "none")]
    command_file: Annotated[str, switch("the command file that was played, to hold the clock against", "none")] = ""
    sampling_Hz: Annotated[
        float, quantity("Hz", 0, 50000, "rate that the recorder was set to; 0: not told", "none")] = 0.0
    start_mmHg: Annotated[
        float, quantity("mmHg", -50, 1000, "pressure that it starts from, at rest", "vented")] = 0.0
    noise_mmHg: Annotated[float, quantity("mmHg", 0, 50, "SD of noise in pressures; 0: from the data", "none")] = 0.0
    periods: Annotated[int, quantity("1", 0, 10000, "how often a multisine repeats", "none")] = 0
    holdout: Annotated[bool, switch("kept out of the fit, to test it", "none")] = False


class Known(NamedTuple):
    """A number of the rig that was measured otherwise."""

    value: Annotated[float, quantity("1", -LARGEST, LARGEST, "what was measured", "none")]
    sd: Annotated[float, quantity("1", 0, LARGEST, "its standard uncertainty", "none")] = 0.0


class Sheet(NamedTuple):
    """The whole of it."""

    path: Path
    base: str
    known: dict[str, Known]
    entries: tuple[Entry, ...]
    columns: tuple[dict[str, str], ...]  # of each entry: our name: the file's own
    about: str = ""


def read_sheet(path: Path) -> Sheet:
    """A sheet. Raises InputError naming file, key, value and what is allowed."""
    content = read_toml(path)
    where = str(path)
    for key in content:
        if key not in TOP:
            raise InputError(f"{where}: {one_line(key, 60)} is not a key of a sheet; use some of {', '.join(TOP)}")
    entries = content.get("recording", [])
    if not isinstance(entries, list) or not entries or not all(isinstance(entry, dict) for entry in entries):
        raise InputError(f"{where}: a sheet needs at least one [[recording]]")
    made, columns = [], []
    for number, entry in enumerate(entries, start=1):
        own = dict(entry)
        columns.append(_columns(own.pop("columns", {}), f"{where}: recording {number}"))
        made.append(validated(Entry, own, where, f"recording {number}"))
    base = content.get("base", "wrist")
    about = content.get("about", "")
    for key, value in (("base", base), ("about", about)):
        if not isinstance(value, str):
            raise InputError(f"{where}: {key} = {value_text(value)} must be text")
    known = content.get("known", {})
    if not isinstance(known, dict):
        raise InputError(f"{where}: known = {value_text(known)} must be a table, as in [known]")
    return Sheet(path, base, {key: _known(key, value, where) for key, value in known.items()}, tuple(made),
                 tuple(columns), about)


def _columns(given: Any, where: str) -> dict[str, str]:
    """Own names of columns, by ours."""
    allowed = ("time_s", "command", *CHANNELS)
    if not isinstance(given, dict):
        raise InputError(f"{where}: columns = {value_text(given)} must be a table, as in {{ command = \"u\" }}")
    for key, value in given.items():
        if key not in allowed or not isinstance(value, str):
            raise InputError(f"{where}: columns.{one_line(key, 40)} = {value_text(value)}: give the file's own name "
                             f"for some of {', '.join(allowed)}")
    return dict(given)


def _known(key: str, value: Any, where: str) -> Known:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        value = {"value": float(value)}
    if not isinstance(value, dict):
        raise InputError(f"{where}: known.{one_line(key, 60)} = {value_text(value)} must be a number or "
                         "{ value = 2.5, sd = 0.05 }")
    known: Known = validated(Known, {k: float(v) if isinstance(v, int) else v for k, v in value.items()}, where,
                             f"known.{one_line(key, 60)}")
    return known


def known_from(text: str) -> tuple[str, Known]:
    """A number from the command line, as in `cuff.volume_mL=2.5±0.05` (or 2.5+-0.05). Raises InputError."""
    key, equals, numbers = text.replace("+-", "±").partition("=")
    value, _, sd = numbers.partition("±")
    try:
        found = Known(float(value), float(sd) if sd else 0.0)
    except ValueError:
        equals = ""
    if not (equals and "." in key) or not (abs(found.value) <= LARGEST and 0.0 <= found.sd <= LARGEST):
        raise InputError(f"--known {one_line(text, 80)}: write table.key=value±sd, as in cuff.volume_mL=2.5±0.05")
    return key.strip(), found


assert set(KINDS) == set(Kind.__args__)  # type: ignore[attr-defined]
