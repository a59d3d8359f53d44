"""What repeats a state of the bench elsewhere: the command, and the rig file."""
from __future__ import annotations

import shlex

from experiments.bench.asked import Asked
from experiments.rigs.rig import Rig
from experiments.rigs.spread_tables import CORRELATION, SPREAD
from experiments.rigs.table import difference_lines, toml_value
from experiments.rigs.uncertain import spread_lines
from experiments.work.output import CAUTION


def repeats(asked: Asked, rig: Rig) -> dict[str, str]:
    """Command lines and rig file by name."""
    return {"check": check_command(asked), "simulate": simulate_command(asked), "rig_file": rig_file(asked, rig)}


def check_command(asked: Asked) -> str:
    """The command that judges the same rig on the same record."""
    setup = asked.setup
    words = ["cuffloop", "check", asked.rig, *_record(asked)]
    if setup.requirements:
        words += ["--requirements", setup.requirements]
    return shlex.join([*words, *_settings(asked)])


def simulate_command(asked: Asked) -> str:
    """The command that runs it with the set point held as asked."""
    words = ["cuffloop", "simulate", asked.rig, *_record(asked)]
    if asked.offset_mmHg:
        words += ["--offset", f"{asked.offset_mmHg:.12g}"]
    if asked.volume_error:
        words += ["--volume-error", f"{asked.volume_error:.12g}"]
    return shlex.join([*words, *_settings(asked)])


def rig_file(asked: Asked, rig: Rig) -> str:
    """The rig as a file that can be saved and loaded again: what differs from the built-in rig beneath.

    What a bench left open of it goes along, but for the numbers that were turned: nobody has measured those.
    """
    tables = asked.source().tables
    kinds = tuple(key[: -len("kind")] for key in asked.settings if key.endswith(".kind"))
    spread = {k: sd for k, sd in tables.get(SPREAD, {}).items() if k not in asked.settings and not k.startswith(kinds)}
    together = {name: {other: r for other, r in row.items() if other in spread}
                for name, row in tables.get(CORRELATION, {}).items() if name in spread}
    return "\n".join([f"# {CAUTION}", *difference_lines(rig), *spread_lines(spread, together)]) + "\n"


def _record(asked: Asked) -> list[str]:
    setup = asked.setup
    words = [] if setup.record is None else ["--record", setup.record]
    words += [] if setup.seconds is None else ["--seconds", f"{setup.seconds:.12g}"]
    words += [] if setup.start_s == 0.0 else ["--start", f"{setup.start_s:.12g}"]
    return words + ([] if setup.seed == 1 else ["--seed", str(setup.seed)])


def _settings(asked: Asked) -> list[str]:
    """`--set` for what the bench was started with and, kinds first, for every turned knob."""
    given = list(asked.setup.settings) if asked.rig == asked.setup.rigs[0] else []
    turned = sorted(asked.settings, key=lambda key: not key.endswith(".kind"))
    given += [f"{key}={toml_value(asked.settings[key])}" for key in turned]
    return [word for setting in given for word in ("--set", setting)]
