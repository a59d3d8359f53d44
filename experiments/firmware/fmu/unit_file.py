"""The unit's file: description, libraries for every system, sources, in one archive with the same bytes each time."""
from __future__ import annotations

import hashlib
import io
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import quoteattr

from experiments.firmware.emit.kinds import DOUBLE
from experiments.firmware.emit.text import CAUTION, header, source
from experiments.firmware.fmu.parts import NAME, PARTS, Part, Variable, part_of
from experiments.firmware.package.settings_text import settings_header, settings_source
from experiments.firmware.toolchain import find_compiler, wheel_compiler
from experiments.firmware.vectors.stimulus import NOMINAL_mmHg
from experiments.rigs.rig import Rig
from plant.errors import InputError

HERE = Path(__file__).parent
WHOLE, FLAG, TIME = 1000, 2000, 9999  # first references of each type
FLAGS = ("-std=c99", "-O2", "-g0", "-ffp-contract=off", "-shared", "-fvisibility=hidden", "-w")
SYSTEMS = {  # folder in the archive: target of the wheel's compiler, end of a library's name
    "x86_64-linux": ("x86_64-linux-gnu.2.17", "so"), "aarch64-linux": ("aarch64-linux-gnu.2.17", "so"),
    "x86_64-windows": ("x86_64-windows-gnu", "dll"), "x86_64-darwin": ("x86_64-macos", "dylib"),
    "aarch64-darwin": ("aarch64-macos", "dylib"),
}
SOURCES = ("fmu.c", "model.c", f"{NAME}.c", f"{NAME}_settings.c")
MOMENT = (1980, 1, 1, 0, 0, 0)  # of every file: the same rig gives the same bytes


@dataclass(frozen=True)
class UnitFile:
    """A unit as it was made."""

    part: Part
    model: str
    systems: dict[str, int]  # bytes of each library
    compiler: str
    content: bytes


def unit_file(
    rig: Rig, name: str, systems: tuple[str, ...] = tuple(SYSTEMS), seed: int = 1,
    arterial_mmHg: float = NOMINAL_mmHg, progress: Callable[[float], None] | None = None,
) -> UnitFile:
    """Build a rig's controller, plant or loop as a unit for these systems. Raises InputError."""
    if name not in PARTS:
        raise InputError(f"--part {name}: one of {', '.join(PARTS)}")
    part = part_of(rig, name, seed, arterial_mmHg)
    model = "".join(c if c.isalnum() else "_" for c in f"{rig.name}_{name}")
    files = unit_sources(part, rig)
    token = hashlib.sha256("".join(files.values()).encode()).hexdigest()
    files["model.h"] = files["model.h"].replace("TOKEN_TEXT", token)
    content: dict[str, bytes] = {f"sources/{key}": text.encode() for key, text in files.items()}
    content["modelDescription.xml"] = description(part, model, token, rig).encode()
    compiler, sizes = "", {}
    with tempfile.TemporaryDirectory(prefix="cuffloop-") as place:
        for key, text in files.items():
            (Path(place) / key).write_text(text, encoding="utf-8")
        for i, system in enumerate(systems):
            end = SYSTEMS[system][1]
            compiler = build_library(Path(place), system, Path(place) / f"{model}.{end}")
            content[f"binaries/{system}/{model}.{end}"] = (Path(place) / f"{model}.{end}").read_bytes()
            sizes[system] = len(content[f"binaries/{system}/{model}.{end}"])
            if progress is not None:
                progress((i + 1) / len(systems))
    return UnitFile(part, model, sizes, compiler, archive(content))


def build_library(folder: Path, system: str, target: Path) -> str:
    """Build the sources in a folder for a system; the compiler's version. Raises InputError."""
    found = find_compiler() if system == "here" else wheel_compiler()
    triple = []
    if system != "here":
        triple = ["-target", SYSTEMS[system][0], "-mcpu=baseline", "-Wl,-s", "-fno-sanitize=all"]
    code = ["-fPIC"] if "windows" not in system else []
    done = found.run([*FLAGS, *code, *triple, *(str(folder / name) for name in SOURCES), "-o", str(target), "-lm"])
    if done.returncode != 0 or not target.is_file():
        wrong = next((line for line in done.stderr.splitlines() if "error" in line), done.stderr.strip()[:200])
        raise InputError(f"the unit does not build for {system}: {wrong}")
    return found.version


def unit_sources(part: Part, rig: Rig) -> dict[str, str]:
    """The C of a unit; its token is still to be put in."""
    title = f"The {part.name} of the rig {rig.name}: made by cuffloop, not to be edited."
    reals = [v for v in part.variables if v.kind == "Float64"]
    wholes = [v for v in part.variables if v.kind == "Int32"]
    model = [
        f"/* {title} {CAUTION} */", "#ifndef MODEL_H", "#define MODEL_H", "", f'#include "{NAME}_settings.h"', "",
        '#define MODEL_TOKEN "TOKEN_TEXT"', f"#define MODEL_PERIOD {part.period_s!r}",
        f"#define MODEL_REALS {len(reals)}U",
        f"#define MODEL_REAL_INPUTS {sum(v.causality == 'input' for v in reals)}U",
        f"#define MODEL_WHOLES {len(wholes)}U", f"#define WHOLE_REFERENCE {WHOLE}U", f"#define FLAG_REFERENCE {FLAG}U",
        f"#define TIME_REFERENCE {TIME}U", "", "typedef struct {", "    double reals[MODEL_REALS];",
        f"    int32_t wholes[{max(len(wholes), 1)}];", "    bool flag;", *part.state, "} Model;", "",
        "void model_start(Model *own);  /* before anything is set */",
        "void model_begin(Model *own);  /* what was set holds from the first tick on */",
        "void model_tick(Model *own);", "void model_output(Model *own);", "", "#endif", ""]
    return {
        "fmu.c": (HERE / "fmu.c").read_text(encoding="utf-8"), "model.h": "\n".join(model),
        "model.c": "\n".join([f"/* {title} */", '#include "model.h"', "", *part.body]),
        f"{NAME}.h": header(part.unit, part.roots, NAME, title),
        f"{NAME}.c": source(part.unit, part.roots, NAME, title),
        f"{NAME}_settings.h": settings_header(part.settings, NAME),
        f"{NAME}_settings.c": settings_source(part.settings, DOUBLE, NAME),
    }


def references(variables: list[Variable]) -> dict[str, int]:
    """The value reference of each variable."""
    firsts, found = {"Float64": 0, "Int32": WHOLE, "Boolean": FLAG}, {}
    for variable in variables:
        found[variable.name] = firsts[variable.kind]
        firsts[variable.kind] += 1
    return found


def description(part: Part, model: str, token: str, rig: Rig) -> str:
    """modelDescription.xml by the schema of FMI 3.0."""
    known = references(part.variables)
    units = sorted({v.unit for v in part.variables if v.unit})
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<fmiModelDescription fmiVersion="3.0" modelName={quoteattr(f"{rig.name} {part.name}")} '
        f'instantiationToken="{token}" description={quoteattr(f"{part.name} of the rig {rig.name}. {CAUTION}")} '
        'generationTool="cuffloop" variableNamingConvention="flat">',
        f'  <CoSimulation modelIdentifier="{model}" canHandleVariableCommunicationStepSize="true" '
        f'fixedInternalStepSize="{part.period_s!r}" canGetAndSetFMUState="true" canSerializeFMUState="true"/>',
        "  <UnitDefinitions>", *(f'    <Unit name="{unit}"/>' for unit in units), "  </UnitDefinitions>",
        f'  <DefaultExperiment startTime="0" stopTime="10" stepSize="{part.period_s!r}"/>', "  <ModelVariables>",
        f'    <Float64 name="time" valueReference="{TIME}" causality="independent" variability="continuous"/>',
        *(f"    {_variable(v, known[v.name])}" for v in part.variables), "  </ModelVariables>", "  <ModelStructure>",
        *(f'    <Output valueReference="{known[v.name]}"/>' for v in part.variables if v.causality == "output"),
        *(f'    <InitialUnknown valueReference="{known[v.name]}"/>' for v in part.variables if v.causality == "output"),
        "  </ModelStructure>", "</fmiModelDescription>", ""]
    return "\n".join(lines)


def _variable(variable: Variable, reference: int) -> str:
    variability = "fixed" if variable.causality == "parameter" else "discrete"
    unit = f' unit="{variable.unit}"' if variable.unit else ""
    start = "" if variable.causality == "output" else \
        f' start="{variable.start!r}"' if variable.kind == "Float64" else f' start="{int(variable.start)}"'
    return (f'<{variable.kind} name="{variable.name}" valueReference="{reference}" causality="{variable.causality}" '
            f'variability="{variability}" description={quoteattr(variable.text)}{unit}{start}/>')


def archive(content: dict[str, bytes]) -> bytes:
    """A ZIP file of these, sorted, without a date."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name in sorted(content):
            entry = zipfile.ZipInfo(name, MOMENT)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            file.writestr(entry, content[name])
    return out.getvalue()
