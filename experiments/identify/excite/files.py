"""Command files and the sheet that goes with them."""
from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np

from experiments.identify.excite.plan import Plan
from experiments.identify.excite.recipe import Piece, Samples
from experiments.identify.light.bench import RAMP
from experiments.identify.light.play import REST_s
from experiments.identify.recording.recording import KINDS
from experiments.rigs.table import toml_value

HOW = """\
# What to play on the bench, and where to put what it recorded. Lines that begin with # are for you.
#
# 1. Close the cuff around a rigid mandrel. Set a relief valve to {ceiling:g} mmHg: the commands are planned to stay
#    below {planned:.0f} mmHg on the rig as it is believed to be, and yours may be stronger.
# 2. Vent. Each recording starts at rest, vented, and the recorder runs before the command does ({rest:g} s are in the
#    files); the command is held from one line of a file to the next.
# 3. Record on one clock: time_s, command (as it was put out, -1 ... 1) and reading_mmHg (the rig's own transducer). A
#    bench gauge may be added: node_mmHg (valve end), cuff_mmHg, supply_mmHg; so may flow_mL_s. {rate:g} samples
#    a second.
# 4. Save each as CSV under the name below (or as Parquet or WFDB, and change the name). Other names of columns:
#    columns = {{ command = "u", reading_mmHg = "p1" }}
# 5. Measure the cuff's air volume at rest with a syringe, five times, and write mean and standard uncertainty under
#    [known] (sd: the SD of the five / 2.2, and half a mark of the syringe): pressures alone tell ratios only. All
#    flows and volumes are off by as much as it is; margins under firmware that is written for the rig found, hardly.
# 6. cuffloop identify {sheet} --out found
"""


HOW_LIGHT = """\
# What to play and record for the light path, and where to put it. Lines that begin with # are for you.
#
# 1. Lamp: clip emitter and photodiode to a grey phantom that passes about half of full scale, in the dark or in the
#    light of the room as it will be; play lamp_command.csv as the emitter's drive (0 off, 1 nominal). Record time_s,
#    command and light (a fraction of full scale), {lamp:g} samples a second.
# 2. Ramp: cuff and sensor on a finger at rest, the cuff vented for {rest:g} s; then raise its pressure evenly to
#    {top:.0f} mmHg in about 30 s, by a pump or by hand, hold 2 s, let it down in about 5 s, and record 8 s more. Record
#    time_s, light, reading_mmHg (cuff) and arterial_mmHg (a reference at the same height), {ramp:g} samples a second.
#    The hand stays warm and still: a change of tone is none of the model's, and would be told as not explained.
# 3. cuffloop identify {sheet} --out found
"""


def columns_text(columns: dict[str, Samples]) -> str:
    """CSV with a header."""
    text = io.StringIO()
    np.savetxt(text, np.column_stack(list(columns.values())), delimiter=",", header=",".join(columns), comments="",
               fmt="%.9g")
    return text.getvalue()


def times_of(piece: Piece) -> Samples:
    """Time of each sample [s]."""
    return np.asarray(np.arange(len(piece.command)) * piece.period_s, float)


def command_text(piece: Piece) -> str:
    """A command file: time_s, command."""
    return columns_text({"time_s": times_of(piece), "command": piece.command})


def has_command_file(piece: Piece) -> bool:
    """Whether a file can be played for it: a ramp is made by whatever raises the pressure."""
    return piece.played != RAMP


def recording_text(piece: Piece, channels: dict[str, Samples]) -> str:
    """A recording as a virtual bench made it."""
    return columns_text({"time_s": times_of(piece), "command": piece.command, **channels})


def sheet_text(plan: Plan, base: str, known: Sequence[str] = (), virtual: str = "") -> str:
    """The sheet of a plan; `known` are lines of its table of what was measured otherwise."""
    highest = max(piece.peak_mmHg for piece in plan.pieces)
    light = plan.parts == ("light",)
    first, last = plan.pieces[0], plan.pieces[-1]
    lines = [HOW_LIGHT.format(lamp=1.0 / first.period_s, ramp=1.0 / last.period_s, rest=REST_s, top=highest,
                              sheet="sheet.toml") if light else
             HOW.format(ceiling=plan.ceiling_mmHg, planned=highest, rest=0.1, rate=1.0 / first.period_s,
                        sheet="sheet.toml")]
    about = f"invented: played on a virtual bench ({virtual})" if virtual else f"for {', '.join(plan.parts)}"
    lines += [f"about = {toml_value(about)}", f"base = {toml_value(base)}", "", "[known]"]
    lines += list(known) or ([] if light else ['# "cuff.volume_mL" = { value = 2.5, sd = 0.05 }'])
    for piece in plan.pieces:
        lines += ["", "[[recording]]  # " + KINDS[piece.played], f"file = {toml_value(piece.played + '.csv')}",
                  f"played = {toml_value(piece.played)}"]
        if has_command_file(piece):
            lines.append(f"command_file = {toml_value(piece.played + '_command.csv')}")
        if piece.periods:
            lines.append(f"periods = {piece.periods}")
    return "\n".join(lines) + "\n"
