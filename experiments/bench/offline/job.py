"""`cuffloop bench --offline FILE`: the live figure of a rig, written and done."""
from __future__ import annotations

import shlex
from pathlib import Path

from experiments.bench.offline.figure import figure_page
from experiments.bench.offline.scene import scene_of
from experiments.bench.offline.webassembly import linker
from experiments.bench.setup import Setup, pressures, source, whole_record
from experiments.work.output import CAUTION, whole_file


def offline_job(setup: Setup, path: Path) -> int:
    """Write the figure of a bench's first rig. Raises InputError where it cannot be made or written."""
    linker()
    rig = source(setup, setup.rigs[0]).rig()
    period = rig.timing.period_s
    scene = scene_of(rig, whole_record(setup, period), pressures(setup, period))
    with whole_file(path, "--offline ") as waiting:
        text = figure_page(scene, command_of(setup, path))
        waiting.write_text(text, encoding="utf-8")
    print(f"wrote {path}: {len(text.encode()) / 1e3:.0f} kB, opens in a browser without a server\n{CAUTION}")
    return 0


def command_of(setup: Setup, path: Path) -> str:
    """The command that writes the same figure."""
    words = ["cuffloop", "bench", setup.rigs[0]]
    words += ["--record", setup.record] if setup.record is not None else []
    words += ["--seconds", f"{setup.seconds:g}"] if setup.seconds is not None else []
    words += ["--start", f"{setup.start_s:g}"] if setup.start_s else []
    words += ["--seed", str(setup.seed)] if setup.seed != 1 else []
    words += [word for setting in setup.settings for word in ("--set", setting)]
    return shlex.join([*words, "--offline", path.name])
