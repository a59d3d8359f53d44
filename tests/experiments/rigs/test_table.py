"""A rig as text that is a rig file again."""
import json
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.rigs.rig import KINDS, built_in_rigs, load_rig, make_rig, parameters_of
from experiments.rigs.table import difference_lines, kind_of, list_lines, rig_json, rig_lines, rig_parts, toml_value
from experiments.work.output import plain
from plant.declare import declared


def same(first, second):
    """Whether two rigs are equal but for the tables they were read from."""
    return parameters_of(first) == parameters_of(second)


@pytest.fixture
def reload(tmp_path):
    def reload(rig, width=100):
        path = tmp_path / "saved.toml"
        path.write_text("\n".join(rig_lines(rig, width)) + "\n")
        return load_rig(str(path))

    return reload


@pytest.mark.parametrize("name", built_in_rigs())
@pytest.mark.parametrize("width", [20, 80, 300])
def test_what_is_printed_is_the_same_rig(reload, name, width):
    rig = load_rig(name)
    again = reload(rig, width)
    assert same(again, rig)
    assert rig_lines(again, width) == rig_lines(rig, width)
    assert max(map(len, rig_lines(rig, 80))) <= max(80, len(rig.about) + 12)


@given(st.data())
@settings(max_examples=20, deadline=None)
def test_any_rig_survives(tmp_path_factory, data):
    """Random values within bounds, random variants: saved and loaded, every part is equal to the last bit."""
    base = load_rig(data.draw(st.sampled_from(built_in_rigs())))
    tables = dict(base.tables)
    tables["name"] = data.draw(st.text(st.characters(categories=("L", "N", "P", "S")), min_size=1, max_size=20))
    if data.draw(st.booleans()):
        tables["tube"] = {"kind": "none"}
    for table, part in rig_parts(base).items():
        if table in ("controller", "timing", "actuator") or (table == "tube" and tables["tube"]["kind"] == "none"):
            continue  # their keys must fit each other
        drawn = {p.name: data.draw(st.floats(p.low, p.high)) for p in declared(type(part))
                 if p.kind is float and p.low is not None and p.high is not None and p.name != "dark_ms"
                 and data.draw(st.booleans())}
        if table == "light" and "lit_ms" not in drawn:  # together they must fit a tick
            drawn["dark_ms"] = data.draw(st.floats(0.0, 0.3))
        tables[table] = {**tables.get(table, {}), **drawn}
    rig = make_rig(tables, "here", tmp_path_factory.getbasetemp(), base.base)
    path = tmp_path_factory.mktemp("rig") / "saved.toml"
    path.write_text("\n".join(rig_lines(rig, 90)), encoding="utf-8")
    assert same(load_rig(str(path)), rig)


def test_what_is_left_to_the_tool_stays_so(reload):
    """A saved rig whose tube is then made longer gets its sections and factors anew, and a new valve is believed in."""
    rig = load_rig("wrist")
    text = "\n".join(rig_lines(rig, 100))
    assert "sections = 0  # 0 leaves it to the tool, here 1;" in text
    assert f"# conductance = {rig.plant.valve.conductance}  # follows the plant;" in text
    tables = tomllib.loads(text)
    assert tables["tube"]["sections"] == 0 and "conductance" not in tables["actuator"]
    told = reload(load_rig("wrist", ["tube.sections=2", "actuator.conductance=0.05"]))
    assert told.plant.tube.sections == 2 and told.stage.conductance == 0.05


def test_every_parameter_is_explained(wrist):
    text = " ".join(" ".join(rig_lines(wrist, 10_000)).split())
    for part in rig_parts(wrist).values():
        for p in declared(type(part)):
            assert f"{p.name} = " in text and p.meaning in text and p.source in text


def test_json_has_values_units_and_bounds(wrist):
    found = json.loads(json.dumps(plain(rig_json(wrist))))
    tube = found["tables"]["tube"]
    assert tube["length_m"] == wrist.plant.tube.length_m and tube["kind"] == "round"
    assert found["parameters"]["tube"]["length_m"] == {
        "unit": "m", "low": 0.01, "high": 10, "meaning": "length", "source": "invented"
    }
    assert {t: set(found["parameters"][t]) for t in KINDS} == {
        t: set(found["tables"][t]) - {"kind"} for t in KINDS
    }


def test_the_list(wrist):
    assert list_lines([wrist]) == [f"wrist      {wrist.about}"]


def test_kinds(wrist):
    assert kind_of("valve", wrist.plant.valve) == "flow" and kind_of("cuff", wrist.plant.cuff) is None


@given(st.one_of(st.text(st.characters(exclude_categories=["Cs"])), st.booleans(), st.integers(-2**60, 2**60),
                 st.floats(allow_nan=False)))
def test_values_as_toml(value):
    """Python's own TOML reader gets the value back."""
    again = tomllib.loads(f"value = {toml_value(value)}")["value"]
    assert again == value and type(again) is type(value)


def test_only_differences_are_written_and_bring_the_rig_back(tmp_path):
    """Over its base, whatever was set: a number, another kind of part, a tube left to the tool."""
    for changes in ([], ["tube.length_m=0.3", "cuff.volume_mL=4"], ["tube.kind=none"],
                     ["valve.kind=pressure", "actuator.kind=direct"], ["light.bits=12", "controller.kp=0.004"]):
        rig = load_rig("wrist", changes)
        text = "\n".join(difference_lines(rig)) + "\n"
        path = tmp_path / "own.toml"
        path.write_text(text, encoding="utf-8")
        found = load_rig(str(path))
        assert (found.plant, found.controller, found.timing, found.stage) == (
            rig.plant, rig.controller, rig.timing, rig.stage), changes
        assert text.startswith('base = "wrist"') and len(text.splitlines()) < 30
    assert len(difference_lines(load_rig("wrist"))) == 3
