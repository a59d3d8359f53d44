"""Bad input, whatever it is, ends in one line, status 2, and nothing written; absurd rigs end in an honest result."""
import json
import math
import string
from itertools import cycle
from typing import Literal, get_origin

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from experiments.check.check import check
from experiments.check.text import check_json, check_lines
from experiments.rigs.requirements import FIGURES, default_requirements, load_requirements
from experiments.rigs.rig import BUILT_IN, KINDS, PLAIN, load_rig, make_rig
from experiments.rigs.table import toml_value
from experiments.simulation.simulate import Plan
from experiments.work.output import plain
from plant.declare import declared
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise

BUILT_IN_KINDS = [(table, kind, part) for table, kinds in KINDS.items() for kind, part in kinds.items()]
PARAMETERS = [(table, "", p) for table, part in PLAIN.items() for p in declared(part)] + [
    (table, kind, p) for table, kind, part in BUILT_IN_KINDS for p in declared(part)
]
NUMBERS_OUT = ("nan", "inf", "-inf", "1e999", "1e308", "-1e308", "9" * 400, "0x" + "f" * 5000)
NO_NUMBERS = ('"3"', "true", "[1.0]", "{ a = 1 }", "2020-01-01", '"""\n\n"""', "[]", "07:30:00")
PRINTABLE = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
ABSENT = ("--record", "absent.csv")  # so that even what is accepted goes no further
QUICK = settings(max_examples=50, deadline=None)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("bad")


@pytest.fixture(scope="module")
def refuse(folder, refusal):
    """`refuse(...)` is the line of a refused command, which was also told to write and has written nothing."""
    def refuse(command, *arguments):
        before = sorted(folder.rglob("*"))
        line = refusal(command, *arguments, "--out", folder / "out")
        assert sorted(folder.rglob("*")) == before
        return line

    return refuse


@pytest.fixture(scope="module")
def refuse_rig(folder, refuse):
    """The same for the text of a rig file."""
    def refuse_rig(content, command="check", *arguments):
        path = folder / "rig.toml"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return refuse(command, path, *(arguments or ABSENT))

    return refuse_rig


def table_of(table, kind, line):
    """A rig file with one line in one table, of a kind whose keys it knows."""
    others = '[actuator]\nkind = "direct"\n' if (table, kind) == ("valve", "pressure") else ""
    return f"[{table}]\n" + (f'kind = "{kind}"\n' if kind else "") + line + "\n" + others


# --- rig files -------------------------------------------------------------------------------------------------------


@given(st.binary(max_size=80))
@QUICK
def test_any_bytes_as_a_rig(refuse_rig, content):
    line = refuse_rig(content)
    assert "rig.toml" in line or line.startswith("absent.csv")


@given(st.text(st.sampled_from(string.printable), max_size=80))
@QUICK
def test_any_text_as_a_rig(refuse_rig, content):
    line = refuse_rig(content)
    assert "rig.toml" in line or line.startswith("absent.csv")


@given(st.data())
@QUICK
def test_a_rig_with_a_slip_of_the_pen(refuse_rig, data):
    """A built-in rig with one character gone, doubled or replaced: read as it stands, or refused by file and line."""
    text = (BUILT_IN / "wrist.toml").read_text()
    at = data.draw(st.integers(0, len(text) - 1))
    slip = data.draw(st.sampled_from(["", text[at] * 2, "=", '"', "[", "]", "#", "\n", "x"]))
    line = refuse_rig(text[:at] + slip + text[at + 1 :])
    assert "rig.toml: " in line or line.startswith(("absent.csv", "rig ")), line


@given(PRINTABLE, st.sampled_from([*PLAIN, *KINDS]))
@QUICK
def test_unknown_tables_and_keys(refuse_rig, name, table):
    assume(name not in {"base", "name", "about", *PLAIN, *KINDS, "kind", *(p.name for *_, p in PARAMETERS)})
    assert "is not a table of a rig" in refuse_rig(f"[{toml_value(name)}]\n")
    assert "is not a key of this part; use one of" in refuse_rig(f"[{table}]\n{toml_value(name)} = 1.0\n")


@given(PRINTABLE, st.sampled_from(list(KINDS)))
@QUICK
def test_wrong_kinds(refuse_rig, name, table):
    assume(name not in KINDS[table])
    line = refuse_rig(f"[{table}]\nkind = {toml_value(name)}\n")
    assert f"rig.toml: {table}.kind = " in line


@pytest.mark.parametrize("table", [*PLAIN, *KINDS])
@pytest.mark.parametrize("value", ["3", '"x"', "[]", "true"])
def test_what_is_no_table(refuse_rig, table, value):
    assert f"must be a table, as in [{table}]" in refuse_rig(f"{table} = {value}\n")


@pytest.mark.parametrize("every", [4, pytest.param(1, marks=pytest.mark.slow)])
def test_every_parameter_refuses_what_is_outside(refuse_rig, every):
    """All of them, in every table and kind: just below, just above, absurd or no number at all, in turn or each."""
    outside, nothing = cycle(NUMBERS_OUT), cycle(NO_NUMBERS)
    seen = 0
    for number, (table, kind, p) in enumerate(PARAMETERS):
        if p.low is None:
            values = ["3", '"neither"', "nan"] if p.kind is not bool else ["1", '"yes"', "0.0"]
        elif p.kind is int:
            values = [str(int(p.low) - 1), str(int(p.high) + 1), f"{p.low:.1f}", next(outside), next(nothing)]
        else:
            values = [repr(math.nextafter(p.low, -math.inf)), repr(math.nextafter(p.high, math.inf)),
                      next(outside), next(nothing)]
        for value in values[number % min(every, len(values)) :: every]:
            line = refuse_rig(table_of(table, kind, f"{p.name} = {value}"))
            assert f"rig.toml: {table}.{p.name} = " in line and p.meaning in line
            if p.low is not None:
                assert f"from {p.low:g} to {p.high:g}" in line and (p.unit in ("", "1") or p.unit in line)
            seen += 1
    assert seen >= len(PARAMETERS) * (3 if every == 1 else 1) and len(PARAMETERS) > 100


AT_ODDS = {("timing", "jitter_s"), ("light", "dark_ms")}


def test_every_parameter_takes_its_own_bounds(wrist):
    """What a message says is allowed is allowed, both ends included (alone: together they may be at odds)."""
    for table, kind, p in PARAMETERS:
        for bound in (p.low, p.high):
            if bound is None or (table, p.name) in AT_ODDS or table == "controller":
                continue  # their bounds hold beside what the other keys leave
            more = {"actuator": {"kind": "direct"}} if (table, kind) == ("valve", "pressure") else {}
            base = {k: v for k, v in wrist.tables.items() if table == "controller" or k != "controller"}
            here = wrist.tables.get(table, {}) if not kind or kind == wrist.tables[table].get("kind") else {}
            values = {**here, **({"kind": kind} if kind else {}), p.name: p.kind(bound)}
            rig = make_rig({**base, **more, table: values}, "here", None)
            assert rig.name == "wrist"


# --- settings, options, requirements ---------------------------------------------------------------------------------


@given(PRINTABLE)
@QUICK
def test_any_setting(refuse, text):
    line = refuse("check", f"--set={text}", *ABSENT)
    assert "--set" in line or line.startswith("absent.csv")


@given(st.sampled_from([(t, p) for t, k, p in PARAMETERS if k in ("", "flow", "round", "flow_inverse")]), PRINTABLE)
@QUICK
def test_any_value_set(refuse, parameter, text):
    table, p = parameter
    line = refuse("check", f"--set={table}.{p.name}={text}", *ABSENT)
    assert f"{table}.{p.name}" in line or f"{p.name} =" in line or line.startswith("absent.csv"), line


OPTIONS = [("check", "--seconds"), ("check", "--start"), ("check", "--seed"), ("simulate", "--offset"),
           ("simulate", "--volume-error"), ("simulate", "--vent"), ("margins", "--at")]


@given(st.sampled_from(OPTIONS), st.one_of(
    PRINTABLE, st.sampled_from(["nan", "inf", "-inf", "1e999", "-1", "1e12", "0x10", "1_000", "--", "9" * 5000]),
    st.floats(max_value=-1e-9).map(repr), st.floats(min_value=1e8).map(repr),
))
@QUICK
def test_any_number_on_the_command_line(refuse, where, text):
    command, option = where
    line = refuse(command, f"{option}={text}", *(ABSENT if command != "margins" else ("--set", "light.emitter=0.0")))
    assert option in line or line.startswith(("absent.csv", "rig wrist: the light", "rig wrist: no clamp")), line


@given(st.text(string.ascii_letters + string.digits + "-_.", min_size=1, max_size=12))
@QUICK
def test_unknown_commands_and_options(refusal, word):
    assume(word not in {"check", "simulate", "margins", "schedules", "rigs"} and not word.startswith("-"))
    assert word in refusal(word)
    assume(not any(option.startswith(word) for option in (
        "help", "json", "set", "out", "seed", "start", "seconds", "record", "requirements")))
    assert "No such option" in refusal("check", f"--{word}")


@given(st.one_of(st.binary(max_size=60), st.text(st.sampled_from(string.printable), max_size=60).map(str.encode)))
@QUICK
def test_any_requirements(folder, refuse, content):
    (folder / "limits.toml").write_bytes(content)
    line = refuse("check", "--requirements", folder / "limits.toml", *ABSENT)
    assert "limits.toml: " in line


@given(st.sampled_from(sorted(FIGURES)), st.sampled_from(["min", "max", "mean_max", "sd_max", "maximum"]),
       st.sampled_from([*NUMBERS_OUT[:5], *NUMBERS_OUT[6:], *NO_NUMBERS]))
@QUICK
def test_any_limit(folder, refuse, figure, limit, value):
    (folder / "limits.toml").write_text(f"[{figure}]\n{limit} = {value}\n")
    assert f"limits.toml: {figure}.{limit} " in refuse("check", "--requirements", folder / "limits.toml", *ABSENT)


def test_requirements_that_are_no_file(folder, refuse):
    assert "no such file" in refuse("check", "--requirements", folder / "absent.toml", *ABSENT)
    assert "Is a directory" in refuse("check", "--requirements", folder, *ABSENT)


# --- records ---------------------------------------------------------------------------------------------------------


def record(folder, pressure, time=None, header="time_s,pressure_mmHg"):
    time = np.arange(len(pressure)) / 100.0 if time is None else time
    path = folder / "record.csv"
    path.write_text(header + "\n" + "".join(f"{t:.4f},{p}\n" for t, p in zip(time, pressure, strict=True)))
    return path


TIME = np.arange(1000) / 100.0
PULSE = 95.0 + 20.0 * np.sin(7.0 * TIME)


def with_row(index, value):
    found = [f"{p:.3f}" for p in PULSE]
    found[index] = value
    return found


@pytest.mark.parametrize(("pressure", "time", "header", "says"), [
    (PULSE / 7.50062, TIME, None, "looks like kPa, not mmHg (multiply by 7.50062)"),
    (PULSE * 133.322, TIME, None, "looks like Pa, not mmHg (divide by 133.322)"),
    (PULSE / 750.062, TIME, None, "too small for arterial pressure in mmHg (volts, bar"),
    (PULSE, TIME, "time_s,pressure_kPa", "header 'time_s,pressure_kPa' must be time_s,pressure_mmHg"),
    (PULSE, TIME, "t,p", "header 't,p' must be time_s,pressure_mmHg"),
    (PULSE, 1000.0 * TIME, None, "is time_s in milliseconds?"),
    (with_row(300, "nan"), TIME, None, "line 302: pressure_mmHg = nan is not a finite number"),
    (with_row(300, "inf"), TIME, None, "line 302: pressure_mmHg = inf is not a finite number"),
    (with_row(300, "900"), TIME, None, "line 302: pressure_mmHg = 900 is outside -50 … 400 mmHg"),
    (with_row(300, "high"), TIME, None, "line 302: pressure_mmHg = 'high' is not a number"),
    (with_row(300, "90,5"), TIME, None, "line 302: 3 cells"),
    (with_row(300, ""), TIME, None, "line 302: pressure_mmHg = '' is not a number"),
    (PULSE, np.where(np.arange(1000) < 500, TIME, TIME + 1.0), None, "line 502: gap of 1.01 s after time_s = 4.99 s"),
    (PULSE, np.where(np.arange(1000) == 500, 4.0, TIME), None, "line 502: time_s runs back to 4 s after 4.99 s"),
    (PULSE, np.where(np.arange(1000) == 500, 4.99, TIME), None, "line 502: time_s repeats 4.99 s"),
    (PULSE[:100], TIME[:100], None, "0.99 s long; at least 2 s are needed"),
    ([], [], None, "no rows below the header"),
])
@pytest.mark.parametrize("command", ["check", "simulate"])
def test_records_that_cannot_be_used(folder, refuse, command, pressure, time, header, says):
    path = record(folder, pressure, time, header or "time_s,pressure_mmHg")
    line = refuse(command, "--record", path)
    assert line.startswith(f"{path}: ") and says in line


@given(st.binary(max_size=200), st.booleans())
@QUICK
def test_any_bytes_as_a_record(folder, refuse, content, headed):
    path = folder / "record.csv"
    path.write_bytes((b"time_s,pressure_mmHg\n" if headed else b"") + content)
    assert refuse("check", "--record", path).startswith(f"{path}: ")


def test_records_that_are_no_file(folder, refuse, monkeypatch):
    """Nothing, a folder, an empty file, and one with more rows than are taken (the bound lowered for the test)."""
    assert "cannot be read: No such file" in refuse("check", "--record", folder / "absent.csv")
    assert "cannot be read: Is a directory" in refuse("check", "--record", folder)
    assert "record name is empty" in refuse("check", "--record=")
    (folder / "empty.csv").write_bytes(b"")
    assert "empty.csv: empty file; it must begin with" in refuse("check", "--record", folder / "empty.csv")
    path = record(folder, PULSE)
    monkeypatch.setattr("plant.pressure.record_csv.MOST_ROWS", 500)
    assert "record.csv: more than 500 rows; cut the record into parts" in refuse("check", "--record", path)
    (folder / "broken.hea").write_text("broken 1\n")
    assert "broken" in refuse("check", "--record", folder / "broken")


@pytest.mark.parametrize("more", [("--seconds", "20"), ("--start", "11"), ("--seconds", "3", "--start", "9")])
def test_more_than_there_is(folder, refuse, more):
    assert "was asked for; the record has 9.99 s" in refuse("check", "--record", record(folder, PULSE), *more)


# --- places to write -------------------------------------------------------------------------------------------------


def test_places_that_cannot_be_written(folder, refusal):
    (folder / "file").write_text("mine")
    before = sorted(folder.rglob("*"))
    for place in (folder / "file", folder / "file" / "below", folder / ("x" * 300), "/proc/nowhere"):
        for command in ("check", "simulate"):
            line = refusal(command, "--record", "synthetic", "--seconds", "6", "--out", place)
            assert line.startswith(f"--out {place}"[:900]) and "not a folder that can be written: " in line
        assert "not a folder that can be written" in refusal("margins", "--out", place)
    assert sorted(folder.rglob("*")) == before and (folder / "file").read_text() == "mine"


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0/"), min_size=1, max_size=20))
@QUICK
def test_trace_names(folder, refuse, name):
    assume(not name.endswith((".csv", ".nc", ".parquet")))
    assert "the name must end in .csv, .parquet, .nc" in refuse("simulate", *ABSENT, f"--trace={folder / name}")


def test_a_trace_that_cannot_be_written(folder, refuse):
    (folder / "folder.csv").mkdir()
    for name, says in (("folder.csv", "is a folder"), ("absent/a.csv", "does not exist")):
        assert says in refuse("simulate", *ABSENT, "--trace", folder / name)


# --- absurd rigs -----------------------------------------------------------------------------------------------------


WRIST = {**PLAIN, "valve": KINDS["valve"]["flow"], "tube": KINDS["tube"]["round"],
         "actuator": KINDS["actuator"]["flow_inverse"]}
LIMITS = load_requirements(default_requirements("wrist"))


def within(p):
    """A value of one parameter: an end of its range, or anywhere in it, evenly or by orders of magnitude."""
    if p.kind is bool:
        return st.booleans()
    if get_origin(p.kind) is Literal:
        return st.just(p.default)
    if p.kind is int:
        return st.integers(int(p.low), int(p.high))
    largest = max(abs(p.low), abs(p.high))
    orders = st.floats(-12.0, 0.0).map(lambda power: min(max(largest * 10.0**power, p.low), p.high))
    return st.sampled_from([float(p.low), float(p.high)]) | st.floats(p.low, p.high) | orders


@pytest.mark.parametrize(("command", "says"), [
    ("check", "0 whole beats count after"), ("simulate", "3.99 s is too short for 2 s of filling"),
])
def test_a_record_too_short_to_count(folder, refuse, command, says):
    """Four seconds: too few beats for a verdict, and nothing left of a run once it has filled."""
    assert says in refuse(command, "--record", record(folder, PULSE[:400], TIME[:400], "time_s,pressure_mmHg"))


@st.composite
def absurd_tables(draw):
    """Tables of the wrist rig with some parameters anywhere in their bounds; keys that must fit each other do."""
    tables = dict(load_rig("wrist").tables)
    choices = [(t, p) for t, part in WRIST.items() for p in declared(part) if (t, p.name) != ("tube", "sections")]
    changed = st.lists(st.sampled_from(choices), min_size=1, max_size=12, unique_by=lambda c: (c[0], c[1].name))
    for table, p in draw(changed):
        tables[table] = {**tables.get(table, {}), p.name: draw(within(p))}
    controller, timing = tables["controller"], tables["timing"]
    for key in ("ki", "kd", "filter_s"):
        controller.pop(key, None)
    timing["jitter_s"] = 0.0
    if draw(st.booleans()):
        half_rate = 0.5 / timing["period_s"]
        for key in ("lead_zero_Hz", "lead_pole_Hz", "notch_Hz", "prewarp_Hz"):
            controller[key] = min(controller.get(key, 0.0), 0.9 * half_rate)
    return tables


@pytest.mark.filterwarnings("error")
@given(absurd_tables())
@settings(max_examples=40, deadline=None)
def test_absurd_rigs_end_honestly(tables):
    """Each parameter within its bounds: refused in one line, or a result without NaN that says how it ended."""
    try:
        rig = make_rig(tables, "rig.toml", None)
        trace = synthesise(SyntheticPressure(), rig.timing.period_s, 12.5, 1)
        found = check(rig, trace, LIMITS, Plan(0.6, 0.6))
    except InputError as refusal:
        assert str(refusal).isprintable() and str(refusal).startswith(("rig.toml: ", "rig wrist: "))
        return
    assert found.run.status in ("done", "saturated", "diverged")
    assert (found.run.message == "") == (found.run.status == "done")
    if found.run.status == "diverged":
        assert "the run diverged at " in found.run.message and "lower controller.kp" in found.run.message
        assert len(found.run.channels["mode"]) < len(trace.pressure_mmHg)
    for name, values in found.run.channels.items():
        assert np.all(np.isfinite(values)), name
    assert not any("nan" in line for line in check_lines(found))
    json.dumps(plain(check_json(found)), allow_nan=False)
    for verdict in check_json(found)["verdicts"]:
        assert verdict["found"] is None or not math.isnan(verdict["found"])
        assert verdict["found"] is not None or not verdict["passed"]
