"""Reference pages of every command, of the failures, of the searches and schedules, and of the Python interface."""
from __future__ import annotations

import os
from importlib import import_module
from typing import Any
from unittest.mock import patch

from calibrate.schedule.names import SCHEDULES
from calibrate.search.strategies import BUILT_IN as SEARCHES
from controller.protection.guards import PROTECTIONS
from controller.protection.protection import FALLBACKS, REACTIONS
from experiments.safety.faults.catalogue import CATALOGUE, FAILURES
from plant.scenarios.scenario import SCENARIOS

WIDTH = 80  # of a screen of help


def command_page() -> str:
    """Every command with the help that it prints."""
    lines = ["# Commands", "", "As each prints it with `--help`. Every command ends with status 0, with 1 when a "
             "limit is not kept or nothing was found, and with 2 and one line when its input cannot be used.", ""]
    for name, text in helps().items():
        lines += [f"## `{name}`", "", "```text", text, "```", ""]
    return "\n".join(lines)


def helps() -> dict[str, str]:
    """The help of `cuffloop` and of each of its commands, as printed on a screen of fixed width."""
    import typer

    from experiments.commands.main import app

    group: Any = typer.main.get_command(app)
    with patch.dict(os.environ, {"COLUMNS": str(WIDTH)}):
        found = {"cuffloop": _help(group, "cuffloop", None)}
        parent = group.make_context("cuffloop", [], resilient_parsing=True)
        for name, command in group.commands.items():
            found[f"cuffloop {name}"] = _help(command, name, parent)
    return found


def _help(command: Any, name: str, parent: Any) -> str:
    context = command.make_context(name, [], parent=parent, resilient_parsing=True)
    return "\n".join(line.rstrip() for line in command.get_help(context).strip().splitlines())


def name_page() -> str:
    """Failures, protections, searches and schedules by the names that commands take."""
    lines = ["# Names", "", "What commands and functions take by name. From the sources, as everything on these pages.",
             "", "## Searches", "", "| name | how |", "|---|---|"]
    lines += [f"| `{name}` | {about} |" for name, (_, about) in SEARCHES.items()]
    lines += ["", "## Schedules", "", "| name | looks again |", "|---|---|"]
    lines += [f"| `{name}` | {schedule.about} |" for name, schedule in SCHEDULES.items()]
    lines += ["", "## Scenarios", "", "| name | what happens |", "|---|---|"]
    lines += [f"| `{name}` | {scenario.about} |" for name, scenario in SCENARIOS.items()]
    lines += ["", "## Protections", "", "| name | asks for |", "|---|---|"]
    lines += [f"| `{name}` | {_reaction(name)} |" for name in PROTECTIONS]
    lines += ["", "## Failures", "", "| name | item | what happens |", "|---|---|---|"]
    lines += [f"| `{fault.name}` | {fault.item} | {fault.mode} |" for fault in FAILURES]
    lines += ["", "## Physiology that must not be taken for a failure", "", "| name | what happens |", "|---|---|"]
    lines += [f"| `{fault.name}` | {fault.mode} |" for fault in CATALOGUE.values() if fault not in FAILURES]
    return "\n".join([*lines, ""])


def _reaction(name: str) -> str:
    return FALLBACKS[REACTIONS[name]] if name in REACTIONS else "works without firmware"


def python_page() -> str:
    """Every function and class of `import cuffloop`, for autodoc to fill in from the docstrings."""
    cuffloop = import_module("cuffloop")  # what users import; nothing else of ours looks at it
    functions = [name for name in cuffloop.__all__ if not isinstance(getattr(cuffloop, name), type)]
    classes = [name for name in cuffloop.__all__ if isinstance(getattr(cuffloop, name), type)]
    lines = ["# Python interface", "", "`import cuffloop`. Every function takes plain arguments and returns a frozen "
             "result that prints like the command of the same name.", "", "## Functions", ""]
    for name in functions:
        lines += ["```{eval-rst}", f".. autofunction:: cuffloop.{name}", "```", ""]
    lines += ["## Results and options", ""]
    for name in classes:
        about = f".. autoclass:: cuffloop.{name}"
        lines += ["```{eval-rst}", about, "   :members:", "   :inherited-members: Exception", "```", ""]
    return "\n".join(lines)
