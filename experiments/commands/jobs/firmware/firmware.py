"""`cuffloop firmware`: the package of a rig, or the check of one that stands somewhere."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, progress_bar, rig_from
from experiments.firmware.package.contents import Contents
from experiments.firmware.package.package import package_files, rebuild, report
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class FirmwareOptions(Options):
    """What `cuffloop firmware` takes."""

    rig: str = "wrist"
    number: str = "double"
    words: int | None = None
    package: Path | None = None


def firmware_job(options: FirmwareOptions) -> int:
    """0 when the package is made, or when the one to be checked gives every bit; else 1."""
    if options.package is not None:
        return _check(options, options.package)
    rig = rig_from(options.rig, options)
    with OutputFolder.open(options.out) as folder:
        with progress_bar("firmware", options.as_json):
            made, files = package_files(rig, options.number, options.words)
        if folder:
            for name, text in files.items():
                folder.write_text(name, text)
    document = report(made)
    if options.as_json:
        print_json(document | provenance(None))
        return 0
    vectors = document["vectors"]
    lines = [
        f"Firmware of the rig {rig.name}, {_arithmetic(made)}, C99",
        f"  functions   {document['functions']}, {document['lines_of_functions']} lines",
        *(f"  {name:<11} {counts['ticks']} ticks of vectors, {counts['values']} values"
          for name, counts in vectors.items()),
        f"  detectors   {len(made.fired)} fire in the vectors",
    ]
    if folder is None:
        lines.append("  nothing written: name a directory with --out")
    print_lines(lines, folder, note="; `make check` there, or `cuffloop firmware --check`")
    return 0


def _arithmetic(made: Contents) -> str:
    if made.formats is None:
        return f"{made.number} precision"
    return f"law on words of {made.formats.words} bits, no sum beyond {max((made.sums or {}).values())} of 63"


def _check(options: FirmwareOptions, package: Path) -> int:
    if options.out is not None:
        raise InputError("--out does not go with --check: nothing is written")
    with progress_bar("check", options.as_json):
        found = rebuild(package)
    if options.as_json:
        print_json({"package": str(package), "compiler": found.compiler, "passed": found.passed,
                    "said": found.lines, **provenance(None)})
    else:
        head = [f"built with {found.compiler}"] if found.compiler else []
        print_lines([*head, *found.lines, "PASS" if found.passed else "FAIL"], None)
    return 0 if found.passed else 1
