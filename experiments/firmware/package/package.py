"""A package of files for a rig: made, written with its check sums, and checked again where it stands."""
from __future__ import annotations

import hashlib
import json
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.fixed.formats import LEAST_BITS, MOST_BITS
from experiments.firmware.emit.kinds import DOUBLE, NUMBERS
from experiments.firmware.emit.text import CAUTION, header, source
from experiments.firmware.package import texts
from experiments.firmware.package.contents import NAME, Contents, code_of, contents_of
from experiments.firmware.package.settings_text import settings_header, settings_source
from experiments.firmware.package.vectors_text import vectors_csv, vectors_header, vectors_source
from experiments.firmware.toolchain import Compiler, find_compiler
from experiments.rigs.rig import Rig
from plant.errors import InputError

SUMS = "SHA256SUMS"
PATIENCE_s = 300.0
FIXED, USUAL_WORDS = "fixed", 16
HERE = Path(__file__).parent
ABI = HERE.parent / "foreign" / "pressure_servo.h"


@dataclass(frozen=True)
class Rebuilt:
    """What came of building and running a package."""

    compiler: str
    status: int
    lines: list[str]

    @property
    def passed(self) -> bool:
        """Whether everything was built and no value differs."""
        return self.status == 0


def package_files(rig: Rig, number: str, words: int | None = None) -> tuple[Contents, dict[str, str]]:
    """The files of a rig's package, the same bytes for the same rig. Raises InputError.

    `words` are the bits of a word where `number` is fixed; None: 16.
    """
    length = word_length(number, words)
    made = contents_of(rig, NUMBERS.get(number, DOUBLE), length)
    law, protection = made.suites
    files = code_files(made, length) | {
        "vectors.h": vectors_header(made.suites, made.numbers),
        "vectors.c": vectors_source(made.suites, made.numbers, NAME),
        "vectors_law.csv": vectors_csv(law), "vectors_protection.csv": vectors_csv(protection),
        "check.c": (HERE / "check.c").read_text(encoding="utf-8"),
        "Makefile": texts.MAKEFILE, "CMakeLists.txt": texts.CMAKE, "README.md": texts.readme(made),
        "TRACE.csv": texts.trace_csv(made), "deviations.md": texts.DEVIATIONS,
        "report.json": json.dumps(report(made), indent=2, ensure_ascii=False) + "\n",
    }
    sums = "".join(f"{hashlib.sha256(text.encode()).hexdigest()}  {name}\n" for name, text in sorted(files.items()))
    return made, files | {SUMS: sums}


def word_length(number: str, words: int | None) -> int | None:
    """Bits of a word, None for an arithmetic of real numbers. Raises InputError."""
    if number not in (*NUMBERS, FIXED):
        raise InputError(f"--number {number}: one of {', '.join((*NUMBERS, FIXED))}")
    if number != FIXED and words is not None:
        raise InputError(f"--words {words}: goes with --number {FIXED} only")
    length = (USUAL_WORDS if words is None else words) if number == FIXED else None
    if length is not None and not LEAST_BITS <= length <= MOST_BITS:
        raise InputError(f"--words {length}: must be from {LEAST_BITS} to {MOST_BITS} bits")
    return length


def code_files(made: Contents, length: int | None = None) -> dict[str, str]:
    """The C that runs: law (on words of so many bits, if given) and protection, settings, the port to the loop."""
    kind = f"{made.numbers.name} precision" if length is None else f"law on words of {length} bits"
    title = f"Firmware of the rig {made.rig.name}, {kind}: made by cuffloop, not to be edited."
    return {
        f"{NAME}.h": header(made.unit, made.roots, NAME, title),
        f"{NAME}.c": source(made.unit, made.roots, NAME, title),
        f"{NAME}_settings.h": settings_header(made.settings, NAME),
        f"{NAME}_settings.c": settings_source(made.settings, made.numbers, NAME),
        "pressure_servo.h": ABI.read_text(encoding="utf-8"),
        f"{NAME}_port.c": texts.port(made),
    }


def write_code(rig: Rig, number: str, folder: Path, words: int | None = None) -> None:
    """Write a rig's own firmware as C, ready for the loop. Raises InputError."""
    length = word_length(number, words)
    made = code_of(rig, NUMBERS.get(number, DOUBLE), length)[0]
    for name, text in code_files(made, length).items():
        (folder / name).write_text(text, encoding="utf-8")


def report(made: Contents) -> dict[str, Any]:
    """What a package comes to, as plain data."""
    lines = sum(len(function.lines) for function in made.unit.order)
    return {
        "rig": made.rig.name, "number": made.number, "period_s": made.rig.timing.period_s,
        "functions": len(made.unit.order), "structs": len(made.unit.structs), "lines_of_functions": lines,
        "flags": texts.FLAGS,
        "vectors": {suite.name: {"ticks": len(suite.rows), "values": int(suite.rows.size)} for suite in made.suites},
        "detectors_fired": made.fired, **words_report(made), "caution": CAUTION,
    }


def words_report(made: Contents) -> dict[str, Any]:
    """Formats, sums and saturated ticks of a law on words; empty for another."""
    if made.formats is None:
        return {}
    points = made.formats._asdict()
    return {"words": points.pop("words"), "ranges": points.pop("ranges")._asdict(), "formats": points,
            "sum_bits": made.sums, "saturated_ticks": made.saturated_ticks}


def changed_files(folder: Path) -> list[str]:
    """Files of a package that are missing or not as they were written. Raises InputError for what is no package."""
    listing = folder / SUMS
    try:
        rows = [line.split("  ", 1) for line in listing.read_text(encoding="utf-8").splitlines()]
    except (OSError, UnicodeDecodeError):
        raise InputError(f"--check {folder}: not a package: it has no readable {SUMS}") from None
    if not rows or any(len(row) != 2 or "/" in row[1] for row in rows):
        raise InputError(f"{listing}: each line must be a sum, two spaces and the name of a file")
    return [name for wanted, name in rows
            if not (folder / name).is_file() or hashlib.sha256((folder / name).read_bytes()).hexdigest() != wanted]


def rebuild(folder: Path, compiler: Compiler | None = None) -> Rebuilt:
    """Build a package outside its folder and run its vectors. Raises InputError without package or compiler."""
    changed = changed_files(folder)
    if changed:
        return Rebuilt("", 1, [f"{name}: missing or changed since it was written" for name in changed])
    found = compiler or find_compiler()
    with tempfile.TemporaryDirectory() as place:
        target = Path(place) / "vectors_check"
        sources = [str((folder / name).resolve()) for name in texts.SOURCES]
        built = found.run([*texts.FLAGS.split(), *sources, "-o", str(target), "-lm"])
        if built.returncode != 0:
            return Rebuilt(found.version, 1, built.stderr.splitlines()[:20] or ["the compiler failed without a word"])
        said = built.stderr.splitlines()
        try:
            done = subprocess.run([target], capture_output=True, text=True, timeout=PATIENCE_s, check=False)
        except subprocess.TimeoutExpired:
            return Rebuilt(found.version, 1, [f"the check did not end within {PATIENCE_s:g} s"])
    return Rebuilt(found.version, done.returncode, [*said, *done.stdout.splitlines(), *done.stderr.splitlines()])
