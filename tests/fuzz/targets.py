"""What is fuzzed: every parser of the command line and of the files that it reads, each with something valid to damage.

A target takes a source of random numbers and a folder, and returns the arguments of a command that is refused at the
latest by something known to be wrong (so that what is read well costs no simulation); or it does its work itself.
"""
from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import numpy as np

from experiments.commands.jobs.height import sensor_from
from experiments.commands.main import app
from experiments.rigs.rig import BUILT_IN, KINDS, PLAIN, read_toml
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.report.evidence import failures_of, limit_words, physiology_of, read_study
from experiments.safety.report.failure_table import rows_of, table_csv
from experiments.safety.report.faults_sections import Evidence, faults_sections, short_answer
from experiments.safety.report.scales import default_scales, load_scales
from experiments.subjects.population import find_finger, sample_fingers
from experiments.subjects.table import save_fingers
from experiments.work.chunks import CHUNK, DIGEST_BYTES, MANIFEST
from experiments.work.packed import pack
from experiments.work.run import local, run
from plant.declare import declared
from tests.experiments.safety.report.test_evidence import STUDY
from tests.fuzz.mutations import mutated_bytes, mutated_text, mutated_value, token

ABSENT = ("--record", "absent.csv")
Target = Callable[[Random, Path], "tuple[str, ...] | None"]
TARGETS: dict[str, Target] = {}
VALID: dict[str, Any] = {}  # what is damaged, by name; filled by `prepare`


def target(function: Target) -> Target:
    """Enter a function among the targets."""
    TARGETS[function.__name__] = function
    return function


def prepare(folder: Path) -> None:
    """Write what is valid once."""
    VALID["tables"] = [path.read_text() for path in sorted(BUILT_IN.glob("*.toml"))]
    time = np.arange(1200) * 0.01
    beats = 90.0 + 20.0 * np.sin(2.0 * np.pi * 1.1 * time)
    rows = [f"{t:.2f},{p:.3f}" for t, p in zip(time, beats, strict=True)]
    VALID["record"] = "time_s,pressure_mmHg\n" + "\n".join(rows[:300]) + "\n"
    VALID["flagged"] = "time_s,pressure_mmHg,usable\n" + "\n".join(f"{row},1" for row in rows[:300]) + "\n"
    save_fingers(folder / "valid.csv", sample_fingers(3))
    VALID["fingers"] = (folder / "valid.csv").read_text()
    VALID["chunks"] = folder / "chunks"
    run([1.0, 2.0], chunk_results, VALID["chunks"], engine=local(1))
    VALID["chunk"] = {path.name: path.read_bytes() for path in VALID["chunks"].iterdir()}
    try:
        import wfdb
    except ImportError:
        return
    wfdb.wrsamp("valid", fs=100, units=["mmHg", "mV"], sig_name=["ABP", "ECG"], fmt=["16", "16"],
                p_signal=np.stack([beats, beats], axis=1), write_dir=str(folder))
    VALID["header"], VALID["signal"] = (folder / "valid.hea").read_text(), (folder / "valid.dat").read_bytes()


def chunk_results(piece: float) -> tuple[dict[str, float], list[str]]:
    """What the damaged study keeps: numbers, text, collections."""
    return {"a": piece, "b": 0.1}, ["", "why"]


def written(folder: Path, name: str, content: str | bytes) -> str:
    """Write a damaged file, and say where."""
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass"))
    return str(path)


def damaged(rng: Random, text: str) -> str | bytes:
    """Text with slips, as a rule; or damaged as bytes."""
    return mutated_text(rng, text) if rng.random() < 0.8 else mutated_bytes(rng, text.encode())


@target
def rig_file(rng: Random, folder: Path) -> tuple[str, ...]:
    """A rig, or some other TOML file in its place."""
    path = written(folder, "rig.toml", damaged(rng, rng.choice(VALID["tables"])))
    return (rng.choice(("check", "simulate", "report")), path, *ABSENT)


@target
def rig_values(rng: Random, folder: Path) -> tuple[str, ...]:
    """Known tables and keys with any values; what can be made is linearised now and then."""
    lines = []
    for table in rng.sample([*PLAIN, *KINDS], rng.randint(1, 3)):
        kinds = KINDS.get(table, {"": PLAIN.get(table)})
        kind = rng.choice(list(kinds))
        keys = rng.sample(declared(kinds[kind]), min(rng.randint(1, 3), len(declared(kinds[kind]))))
        lines += [f"[{table}]", f'kind = "{kind}"' if kind else "", *(f"{p.name} = {_value(rng, p)}" for p in keys)]
    path = written(folder, "rig.toml", "\n".join(lines) + "\n")
    return ("margins", path) if rng.random() < 0.02 else ("check", path, *ABSENT)


def _value(rng: Random, parameter: Any) -> str:
    if parameter.low is None or rng.random() < 0.3:
        return token(rng).replace("\n", " ")
    value = rng.choice((parameter.low, parameter.high, rng.uniform(parameter.low, parameter.high)))
    return str(round(value)) if parameter.kind is int else repr(float(value))


@target
def requirements(rng: Random, folder: Path) -> tuple[str, ...]:
    """Limits of a rig, and of failures."""
    path = written(folder, "limits.toml", damaged(rng, rng.choice(VALID["tables"])))
    if rng.random() < 0.5:
        return ("faults", "wrist", "--requirements", path, "--without", "nobody")
    return ("check", "wrist", "--requirements", path, *ABSENT)


@target
def scales(rng: Random, folder: Path) -> tuple[str, ...]:
    """Ladders of ranks."""
    text = default_scales().read_text() if rng.random() < 0.9 else rng.choice(VALID["tables"])
    return ("report", "wrist", "--scales", written(folder, "scales.toml", damaged(rng, text)), *ABSENT)


@target
def csv_record(rng: Random, folder: Path) -> tuple[str, ...]:
    """A pressure record as CSV; nine thousand seconds of it are never there."""
    path = written(folder, "record.csv", damaged(rng, VALID[rng.choice(("record", "flagged"))]))
    return ("simulate", "wrist", "--record", path, "--seconds", "9000")


@target
def wfdb_record(rng: Random, folder: Path) -> tuple[str, ...]:
    """A WFDB record with a damaged header, or damaged samples."""
    if "header" not in VALID:
        return csv_record(rng, folder)
    header, signal = VALID["header"], VALID["signal"]
    if rng.random() < 0.8:
        header = damaged(rng, header.replace("valid", "bad"))
    else:
        header, signal = header.replace("valid", "bad"), mutated_bytes(rng, signal)
    written(folder, "bad.hea", header)
    written(folder, "bad.dat", signal)
    channel = rng.choice(("", "", ":ABP", ":ECG", f":{_argument(rng)}"))
    return ("simulate", "wrist", "--record", str(folder / "bad") + channel, "--seconds", "9000")


@target
def finger_table(rng: Random, folder: Path) -> tuple[str, ...]:
    """A table of fingers, in which nobody has the name that is asked for."""
    path = written(folder, "fingers.csv", damaged(rng, VALID["fingers"]))
    if rng.random() < 0.3:
        return ("fingers", path, "--fingers", "100000")
    return ("sweep", "controller.kp=0.005,0.006", "--finger", "nobody", "--group", path)


@target
def chunk_file(rng: Random, folder: Path) -> None:
    """A finished chunk with damage, half of the time under the right checksum: done anew, or read as plain data."""
    here = VALID["chunks"]
    name = rng.choice([name for name in VALID["chunk"] if name.startswith(CHUNK)])
    packed = VALID["chunk"][name][DIGEST_BYTES:]
    if rng.random() < 0.5:
        packed = mutated_bytes(rng, packed)
    else:
        structure = mutated_value(rng, json.loads(packed[8:]))
        text = json.dumps(structure, ensure_ascii=True).encode()
        packed = len(text).to_bytes(8, "little") + text
    digest = hashlib.sha256(packed).digest() if rng.random() < 0.7 else VALID["chunk"][name][:DIGEST_BYTES]
    (here / name).write_bytes(digest + packed)
    try:
        found = run([1.0, 2.0], chunk_results, here, engine=local(1))
    finally:
        (here / name).write_bytes(VALID["chunk"][name])
    assert len(found) == 2 and pack(found)


@target
def chunk_manifest(rng: Random, folder: Path) -> None:
    """The description of a study: this one, another one, or none."""
    here = VALID["chunks"]
    valid = VALID["chunk"][MANIFEST]
    changed = json.dumps(mutated_value(rng, json.loads(valid))).encode()
    (here / MANIFEST).write_bytes(changed if rng.random() < 0.5 else mutated_bytes(rng, valid))
    try:
        run([1.0, 2.0], chunk_results, here, engine=local(1))
    finally:
        (here / MANIFEST).write_bytes(valid)


@target
def study_json(rng: Random, folder: Path) -> tuple[str, ...] | None:
    """A finished study of failures: through the command, and to the end of the report's sections."""
    text = json.dumps(mutated_value(rng, STUDY)) if rng.random() < 0.6 else damaged(rng, json.dumps(STUDY))
    path = written(folder, "faults.json", text)
    if rng.random() < 0.3:
        return ("report", "wrist", "--faults", path, *ABSENT)
    study = read_study(Path(path))
    ranks = VALID.setdefault("ranks", load_scales(default_scales()))
    evidence = Evidence(failures_of(study), limit_words(study), ranks, *physiology_of(study), {},
                        study["provenance"]["command"], study.get("not_applicable", {}))
    short_answer(evidence)
    faults_sections(evidence)
    table_csv(rows_of(evidence.failures, evidence.scales))
    return None


AXES = ("controller.kp=0.002:0.02:5", "tube.sections=1:4:3", "tube.length_m=0,0.3", "actuator.kind=direct,flow_inverse",
        "light.bits=8:16", "controller.kp=0.002:0.02:5:log", "timing.period_s=0.001,0.002",
        "finger.artery.half_width_mmHg=8:30:3", "finger.pressure.systolic_mmHg=120,160", "valve.hysteresis=0:0.1:3")


@target
def axes(rng: Random, folder: Path) -> tuple[str, ...]:
    """What is swept: as written, in groups of digits, absurd."""
    texts = [_no_option(mutated_text(rng, rng.choice(AXES))) for _ in range(rng.choice((1, 1, 2)))]
    sample = ("--sample", _no_option(token(rng))) if rng.random() < 0.1 else ()
    return ("sweep", *texts, *sample, *ABSENT)


@target
def settings(rng: Random, folder: Path) -> tuple[str, ...]:
    """`--set`, of known keys as of others."""
    tables = read_toml(BUILT_IN / "wrist.toml")
    table = rng.choice([key for key, value in tables.items() if isinstance(value, dict)])
    key = rng.choice(list(tables[table]) or ["kind"])
    text = f"{table}.{key}={tables[table].get(key, 1)}"
    text = f"{table}.{key}={token(rng)}" if rng.random() < 0.4 else mutated_text(rng, text)
    return ("check", f"--set={text}", *ABSENT)


@target
def names(rng: Random, folder: Path) -> tuple[str, ...] | None:
    """Names of fingers, failures, strategies, schedules, scenarios, groups; and the height sensor's faults."""
    kind = rng.randrange(6)
    if kind == 0:
        find_finger(mutated_text(rng, rng.choice(("mixed-1-0004", "old-7-0002-no_pulse"))))
        return None
    if kind == 1:
        sensor_from([mutated_text(rng, "lag_s=1")])
        return None
    if kind == 2:
        listed = mutated_text(rng, ",".join(rng.sample(list(CATALOGUE), 2)) + ":0.5")
        return ("faults", "wrist", f"--faults={listed}", "--without", "nobody")
    if kind == 3:
        return ("search", "wrist", f"--strategy={mutated_text(rng, 'classroom,probing')}", *ABSENT)
    if kind == 4:
        return ("schedules", "wrist", f"--schedules={mutated_text(rng, 'never,steady')}", "--fingers", "0")
    return ("schedules", "wrist", f"--scenarios={mutated_text(rng, 'quiet,cold')}", "--fingers", "0")


def _argument(rng: Random) -> str:
    return token(rng).replace("\0", "?").replace("/", "|")


def _no_option(text: str) -> str:
    return text if not text.startswith("-") else f"x{text}"


REFUSED = {  # what makes sure that a command with any other options ends before it works
    "check": ABSENT, "simulate": ABSENT, "report": ABSENT, "margins": ("--record", "absent.csv"), "rigs": ("--nobody",),
    "search": ("--group", "nobody"), "schedules": ("--group", "nobody"), "fingers": ("--seed", "-1"),
    "height": ("--seed", "-1"), "wear": ("--hours", "8", "--fingers", "-1"),
    "tune": ("--requirements", "absent.toml"), "sweep": ABSENT,
    "budget": ("--seed", "-1"), "rounding": ("--seed", "-1"), "faults": ("--group", "nobody"),
}


@target
def options(rng: Random, folder: Path) -> tuple[str, ...]:
    """Any command with any options and any values, and one that is wrong for sure."""
    command = rng.choice(list(REFUSED))
    words = []
    for _ in range(rng.randint(1, 3)):
        option = rng.choice(OPTIONS[command])
        if rng.random() < 0.1:
            option = mutated_text(rng, option).replace("\0", "?")
        words.append(f"{option}={_argument(rng)}" if rng.random() < 0.7 else option)
    return (command, *words, *REFUSED[command])


def _options() -> dict[str, list[str]]:
    """The long options of every command, asked of the command line itself."""
    import typer

    group: Any = typer.main.get_command(app)
    return {name: ["--help", *(text for one in command.params for text in one.opts if text.startswith("--"))]
            for name, command in group.commands.items()}


OPTIONS = _options()
