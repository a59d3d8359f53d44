"""What makes a function one of `import cuffloop`: it remembers how it was called, and complains in Python's words."""
from __future__ import annotations

import functools
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from experiments.rigs.rig import Rig
from experiments.work.asked import asked
from plant.errors import InputError

Parameters = ParamSpec("Parameters")
Returned = TypeVar("Returned")
MOST_CHARACTERS = 200  # of one argument
OPTION = re.compile(r"--([a-z][a-z-]*)")
ARGUMENTS = {  # options that are called otherwise in Python
    "arterial": "arterial_mmHg",
    "at": "at_mmHg", "start": "start_s", "offset": "offset_mmHg", "vent": "vent_s", "mean": "mean_mmHg",
    "simulate": "simulated", "out": "folder", "faults": "names", "stories": "stories_min", "schedules": "schedules",
}


def public(function: Callable[Parameters, Returned]) -> Callable[Parameters, Returned]:
    """A function of the Python interface: the call goes into the provenance of its result.

    Bad input is an InputError of one line, which names an argument as Python writes it (`start_s`, not `--start`)
    unless a command has asked.
    """

    @functools.wraps(function)
    def called(*arguments: Parameters.args, **options: Parameters.kwargs) -> Returned:
        words = [*map(word_of, arguments), *(f"{name}={word_of(value)}" for name, value in options.items())]
        with asked(f"cuffloop.{function.__name__}({', '.join(words)})") as by_python:
            try:
                return function(*arguments, **options)
            except InputError as error:
                if not by_python:
                    raise
                raise InputError(OPTION.sub(_argument, str(error))) from error

    return called


def _argument(option: re.Match[str]) -> str:
    return ARGUMENTS.get(option[1], option[1].replace("-", "_"))


def word_of(value: Any) -> str:
    """An argument as one would write it, where that is short."""
    if isinstance(value, Rig):
        name, *settings = value.given or ("…",)
        return f"load_rig({name!r}{f', {settings!r}' if settings else ''})"
    if isinstance(value, Path):
        return repr(str(value))
    if isinstance(value, (list, tuple)) and type(value) in (list, tuple):
        inside = ", ".join(word_of(item) for item in value)
        return (f"[{inside}]" if isinstance(value, list) else f"({inside},)")[:MOST_CHARACTERS]
    if value is None or isinstance(value, (str, int, float, bool, dict)):
        return repr(value)[:MOST_CHARACTERS]
    name = getattr(value, "name", "")
    return f"<{type(value).__name__}{f' {name}' if isinstance(name, str) and name else ''}>"
