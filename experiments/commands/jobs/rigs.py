"""`cuffloop rigs`: the built-in rigs, or every parameter of one."""
from __future__ import annotations

import shutil

from experiments.rigs.rig import built_in_rigs, load_rig
from experiments.work.output import print_json, print_lines
from plant.errors import InputError


def rigs_job(rig_name: str | None, settings: list[str] | None, as_json: bool) -> int:
    """`cuffloop rigs`: list the built-in rigs, or show one with all its parameters."""
    from experiments.rigs.table import list_lines, rig_json, rig_lines

    if rig_name is None:
        if settings:
            raise InputError(f"--set {settings[0]}: name the rig that it changes, as in: cuffloop rigs wrist --set ...")
        rigs = [load_rig(name) for name in built_in_rigs()]
        if as_json:
            print_json({r.name: {"about": r.about} for r in rigs})
        else:
            print_lines(list_lines(rigs), None)
        return 0
    rig = load_rig(rig_name, settings)
    if as_json:
        print_json(rig_json(rig))
    else:
        print_lines(rig_lines(rig, shutil.get_terminal_size((100, 24)).columns), None)
    return 0
