"""The reference of commands, names and Python functions, held against what the tool itself says."""
import pytest

import cuffloop
from experiments.guide.listings import WIDTH, command_page, helps, name_page, python_page
from tests.experiments.conftest import said


@pytest.fixture(scope="module")
def found():
    return helps()


def test_help_is_the_commands_own(found, monkeypatch):
    """As printed by the command line, on a screen of that width."""
    monkeypatch.setenv("COLUMNS", str(WIDTH))
    for name in ("check", "sweep"):
        printed = "\n".join(line.rstrip() for line in said(name, "--help").out.strip().splitlines())
        assert found[f"cuffloop {name}"].split("Options:")[1] == printed.split("Options:")[1]


def test_every_command_is_there(found):
    """Those that `cuffloop --help` lists."""
    listed = found["cuffloop"].split("Commands:")[1].split("\n")
    names = {line.split()[0] for line in listed if line.startswith("  ") and line[2] != " "}
    assert names == {name.split()[1] for name in found if " " in name} and len(names) >= 14
    assert all(f"## `{name}`" in command_page() for name in found)


def test_names_that_commands_take():
    page = name_page()
    for name in ("probing", "steady", "cold_strong", "dump_valve", "search_astray", "valsalva"):
        assert f"| `{name}` |" in page
    assert "| `dump_valve` | works without firmware |" in page and "| `light_range` | hold |" in page


def test_every_public_name_of_the_package_is_there():
    page = python_page()
    for name in cuffloop.__all__:
        kind = "autoclass" if isinstance(getattr(cuffloop, name), type) else "autofunction"
        assert f".. {kind}:: cuffloop.{name}\n" in page
