"""`cuffloop rigs`: the built-in rigs, or every parameter of one."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, rig_from
from experiments.front.rigs import parameters, rigs
from experiments.work.output import print_json, print_lines
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class RigsOptions(Options):
    """What `cuffloop rigs` takes."""

    rig: str | None = None


def rigs_job(options: RigsOptions) -> int:
    """`cuffloop rigs`: list the built-in rigs, or show one with all its parameters."""
    if options.rig is None and options.setting:
        raise InputError(f"--set {options.setting[0]}: name the rig that it changes, as in: "
                         "cuffloop rigs wrist --set ...")
    result = rigs() if options.rig is None else parameters(rig_from(options.rig, options))
    if options.as_json:
        print_json(result.document())
    else:
        print_lines(result.lines(), None)
    return 0
