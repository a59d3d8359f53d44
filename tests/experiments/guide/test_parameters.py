"""The reference of parameters says what the declarations say: every table, key, bound and unit of a rig file."""
import re

import pytest

from experiments.guide.parameters import declared_parts, parameter_pages, rig_tables, section, shown, span
from experiments.rigs.rig import load_rig
from experiments.rigs.table import rig_parts
from plant.declare import declared
from plant.pneumatics.tube import NoTube, Tube


@pytest.fixture(scope="module")
def pages():
    return parameter_pages()


def test_every_key_that_a_rig_prints_is_there(pages):
    """Against the other way round: tables of the built-in rigs as `cuffloop rigs` prints them."""
    text = "\n".join(pages.values())
    for name in ("wrist", "cabinet"):
        for table, part in rig_parts(load_rig(name)).items():
            assert f"`[{table}]`" in text
            for parameter in declared(type(part)):
                if parameter.low is None or parameter.low != parameter.high:
                    assert f"| `{parameter.name}` |" in text, f"{table}.{parameter.name}"


def test_a_row_by_hand(pages):
    row = next(line for line in pages["plant"].splitlines() if line.startswith("| `length_m` |"))
    cells = [cell.strip() for cell in row.strip("|").split("|")]
    parameter = next(p for p in declared(Tube) if p.name == "length_m")
    assert cells[1] == f"{parameter.low:g} … {parameter.high:g} m"
    assert cells[3:5] == ["1.2", "0.05"]  # cabinet and wrist, as their files say
    assert cells[5:] == [parameter.meaning, parameter.source]


def test_rows_have_as_many_cells_as_their_head(pages):
    """A bar in a meaning would break the table."""
    for text in pages.values():
        for table in re.findall(r"(?:^\|.*\n)+", text, re.M):
            counts = {len(re.findall(r"(?<!\\)\|", line)) for line in table.splitlines()}
            assert len(counts) == 1, table.splitlines()[0]


def test_searches_and_scenarios_are_declared_too(pages):
    assert "`ProbingSearch`" in pages["others"] and "`HandRaised`" in pages["others"]
    assert len(declared_parts()) > len({part for *_, part in rig_tables()})


def test_a_section_without_parameters_of_a_rig():
    text = section("`[tube]`", NoTube, {})
    assert "cabinet" not in text and text.startswith("## `[tube]`")


def test_values_as_they_stand_in_a_table():
    assert (shown(True), shown(0.1 + 0.2), shown(None), shown("x")) == ("true", "0.3", "none: must be given", "x")
    kinds = {p.name: span(p) for p in declared(type(load_rig("wrist").controller))}
    assert kinds["form"] == "`ideal`, `parallel`" and kinds["kp"] == "0 … 100 1/mmHg"
