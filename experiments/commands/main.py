"""The command line: `cuffloop COMMAND [RIG] [options]`.

Every module of this folder that has a tuple COMMANDS brings the commands in it: to add one, write its function there
and its job in `jobs/`.
"""
from __future__ import annotations

import os
import shlex
import sys
from importlib import import_module
from pkgutil import iter_modules
from typing import Annotated, Any

import typer

from experiments import commands
from experiments.work.asked import asked

app = typer.Typer(
    name="cuffloop",
    help="Design and teaching workbench for the pressure servo of a finger cuff. Not a medical device: work on people "
    "follows the applicable standards, local codes and licensed practice.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

# the parent of all complaints about a command line; typer may carry its own copy of click, so it is asked, not imported
_USAGE: Any = next(c for c in typer.BadParameter.__mro__ if c.__name__ == "ClickException")

FIRST = ("rig", "finger", "design", "safety", "identify")  # order of the help; others follow by the alphabet


def _modules() -> list[str]:
    """Modules of this folder, in the order of the help."""
    found = sorted(module.name for module in iter_modules(commands.__path__))
    return sorted(found, key=lambda name: FIRST.index(name) if name in FIRST else len(FIRST))


for _name in _modules():
    if _name != "main":
        for _function in getattr(import_module(f"{commands.__name__}.{_name}"), "COMMANDS", ()):
            app.command()(_function)


def _show_version(wanted: bool) -> None:
    if wanted:
        from experiments.work.output import own_version

        print(f"cuffloop {own_version()}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", is_eager=True, callback=_show_version, help="Print the version and end.")
    ] = False,
) -> None:
    pass


def main() -> None:
    """Entry point: bad input ends in one line and status 2, never in a traceback. Without a command it prints help."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small: threads would only fight over them
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal without our signs still gets all the rest
    try:
        with asked(shlex.join(["cuffloop", *sys.argv[1:]])):
            status = _run(sys.argv[1:] or ["--help"])
        sys.stdout.flush()
    except BrokenPipeError:  # whoever was reading has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 141
    except OSError as error:
        status = _refused(f"the output cannot be written: {error.strerror or error}")
    sys.exit(status)


def _run(arguments: list[str]) -> int:
    """Exit status of a command line; whatever ends it early leaves one line on standard error."""
    from plant.errors import InputError

    try:
        command = typer.main.get_command(app)
        with command.make_context("cuffloop", arguments) as context:
            command.invoke(context)
    except typer.Exit as end:
        return int(end.exit_code)
    except InputError as error:
        return _refused(error)
    except _USAGE as error:
        where = getattr(error, "ctx", None)
        hint = f" (see: {where.command_path} --help)" if where else ""
        return _refused(f"{error.format_message().rstrip('.')}{hint}")
    except MemoryError:
        return _refused("not enough memory; take less of the record with --seconds")
    except (KeyboardInterrupt, typer.Abort) as stop:
        # a compiler stopped half-way complains of its half-made objects as the process ends: no use to anyone
        sys.unraisablehook = _say_nothing
        _refused(f"interrupted{'; ' if str(stop) else ''}{stop}")
        return 130
    return 0


def _say_nothing(_: object) -> None:
    """In place of Python's report of errors in destructors."""


def _refused(reason: object) -> int:
    from plant.messages import one_line

    print(f"cuffloop: {one_line(reason)}", file=sys.stderr)
    return 2
