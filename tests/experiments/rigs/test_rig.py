"""Rig files: built-in rigs, a file over one of them, settings on top, and every way they can be wrong."""
import math
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.protection.guards import guard_parts
from controller.tick.inverse import Direct, FlowInverse
from experiments.rigs.rig import (
    ALIASES,
    BUILT_IN,
    KINDS,
    PLAIN,
    built_in_rigs,
    clamp,
    left_to_tool,
    load_rig,
    make_rig,
    read_toml,
)
from plant.errors import InputError
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.tube import NoTube, Tube, matched_factors


@pytest.fixture
def load(tmp_path):
    def load(text, *changes):
        path = tmp_path / "mine.toml"
        path.write_text(text)
        return load_rig(str(path), list(changes))

    return load


def test_built_in_rigs_say_they_are_invented():
    assert built_in_rigs() == ["cabinet", "wrist"]
    for name in built_in_rigs():
        rig = load_rig(name)
        assert rig.name == rig.base == name and rig.about.startswith("invented")
        assert "invented" in (BUILT_IN / f"{name}.toml").read_text().splitlines()[0].lower()
    assert isinstance(load_rig("wrist").plant.valve, FlowValve)
    assert isinstance(load_rig("cabinet").plant.valve, PressureValve)
    assert load_rig("cabinet").plant.tube.length_m == 1.2


def test_a_rig_by_where_its_valve_sits_is_the_same_rig(load):
    assert set(ALIASES.values()) == set(built_in_rigs())
    for alias, name in ALIASES.items():
        assert load_rig(alias)._replace(given=()) == load_rig(name)._replace(given=())
        assert load(f'base = "{alias}"').base == name


def test_a_file_goes_over_its_base(load, wrist):
    rig = load('[tube]\nlength_m = 0.3\n[controller]\nkp = 0.005\n')
    assert (rig.name, rig.base, rig.plant.tube.length_m, rig.controller.kp) == ("mine", "wrist", 0.3, 0.005)
    assert rig.controller._replace(kp=wrist.controller.kp) == wrist.controller
    assert rig.plant.valve == wrist.plant.valve and "wrist" in rig.about
    other = load('base = "cabinet"\nname = "lab"\nabout = "mine, long"\n')
    assert (other.name, other.about, other.base) == ("lab", "mine, long", "cabinet")
    assert other.plant == load_rig("cabinet").plant


def test_an_empty_file_is_its_base(load, wrist):
    assert load("").plant == wrist.plant


def test_another_kind_starts_from_its_own_defaults(load):
    """What the base says of a flow valve means nothing to a pressure-type valve."""
    rig = load('[valve]\nkind = "pressure"\nrange_mmHg = 250.0\n[actuator]\nkind = "direct"\n[tube]\nkind = "none"\n')
    assert rig.plant.valve == PressureValve(range_mmHg=250.0)
    assert rig.stage == Direct() and rig.plant.tube == NoTube()


def test_settings_go_on_top(load):
    rig = load("[tube]\nlength_m = 0.3\n", "tube.length_m=0.5", " tube.diameter_mm = 2 ", "controller.method=matched")
    assert (rig.plant.tube.length_m, rig.plant.tube.diameter_mm, rig.controller.method) == (0.5, 2.0, "matched")
    assert load_rig("wrist", ['controller.method="backward_euler"']).controller.method == "backward_euler"
    assert load_rig("wrist", ["transducer.at_valve_end=true"]).plant.transducer.at_valve_end is True


def test_the_inverse_believes_in_the_valve_unless_told(load):
    rig = load("[valve]\nconductance = 0.08\n[supply]\npressure_mmHg = 500.0\n[actuator]\ndead_band = 0.05\n")
    assert isinstance(rig.stage, FlowInverse)
    assert (rig.stage.conductance, rig.stage.supply_mmHg, rig.stage.dead_band) == (0.08, 500.0, 0.05)
    assert left_to_tool(rig, "actuator", "conductance") and not left_to_tool(rig, "actuator", "dead_band")
    with pytest.raises(InputError, match=r"flow_inverse' needs valve\.kind = 'flow'"):
        load('[valve]\nkind = "pressure"\n')


@given(st.floats(0.01, 5), st.floats(0.5, 6))
@settings(max_examples=25, deadline=None)
def test_what_is_left_to_the_tool_is_matched(length, diameter):
    """One section per 0.15 m, at most 16; factors that give the exact viscous line's impedance, both above 1."""
    rig = load_rig("wrist", [f"tube.length_m={length!r}", f"tube.diameter_mm={diameter!r}"])
    tube = rig.plant.tube
    assert 1 <= tube.sections <= 16
    assert tube.sections == 16 or (tube.sections - 1) * 0.15 < length <= tube.sections * 0.15 + 1e-9
    assert (tube.loss_factor, tube.inertance_factor) == matched_factors(tube, rig.plant.air, 90.0)
    assert tube.loss_factor >= 1.0 and 1.0 < tube.inertance_factor <= 4 / 3 + 1e-9
    assert all(left_to_tool(rig, "tube", key) for key in ("sections", "loss_factor", "inertance_factor"))


def test_what_is_given_stays(load):
    rig = load("[tube]\nsections = 3\nloss_factor = 1.5\ninertance_factor = 1.1\n")
    assert rig.plant.tube[2:] == (3, rig.plant.tube.valve_volume_mL, 1.5, 1.1)
    assert not left_to_tool(rig, "tube", "sections") and not left_to_tool(rig, "controller", "kp")
    assert isinstance(rig.plant.tube, Tube)


@pytest.mark.parametrize(("text", "says"), [
    ("[tube]\nlength_m = 40.0\n", "tube.length_m = 40.0 must be a number from 0.01 to 10 m (length)"),
    ("[tube]\nlenght_m = 0.1\n", "tube.lenght_m is not a key of this part; use one of length_m, diameter_mm"),
    ("[hose]\nlength_m = 0.1\n", "[hose] is not a table of a rig; use one of about, actuator, air"),
    ("tube = 3\n", "tube = 3 must be a table, as in [tube]"),
    ("[tube]\nkind = \"square\"\n", "tube.kind = 'square': use one of round, none, or FILE.py:Class"),
    ("[tube]\nkind = [1]\n", "tube.kind = [1]: use one of"),
    ("base = \"elbow\"\n", "base = 'elbow' is not a built-in rig; use one of cabinet, wrist"),
    ("base = {}\n", "base = {} is not a built-in rig"),
    ("name = 3\n", "name = 3 must be text of one line"),
    ("name = \"a\\nb\"\n", "name = 'a\\nb' must be text of one line"),
    ("about = 2020-01-01\n", "must be text of one line"),
    ("[timing]\njitter_s = 0.002\n", "timing.jitter_s = 0.002: at most 0.001 s fits"),
    ("[controller]\nlead_pole_Hz = 0.0\n", "controller.lead_pole_Hz = 0: a lead needs both"),
    ("[controller]\noutput_low = 1.0\n", "controller.output_low = 1 must be below output_high = 1"),
])
def test_a_wrong_file_is_one_line(load, tmp_path, text, says):
    with pytest.raises(InputError) as refusal:
        load(text)
    assert str(refusal.value).startswith(f"{tmp_path / 'mine.toml'}: ")
    assert says in str(refusal.value)


@pytest.mark.parametrize(("setting", "says"), [
    ("tube.length_m", "--set tube.length_m: write table.key=value"),
    ("length_m=3", "--set length_m=3: write table.key=value"),
    (".=", "write table.key=value"),
    ("", "write table.key=value"),
    ("tube.length_m=", "wrist with --set: tube.length_m = '' must be a number from 0.01 to 10 m"),
    ("tube.length_m=0,3", "tube.length_m = '0,3' must be a number"),
    ("tube.length_m=1e999", "tube.length_m = inf must be a number"),
    ("tube.length_m=nan", "tube.length_m = nan must be a number"),
    ("tube.length_m=1\n[air]", "one value only"),
    ("tube.length_m=" + "[" * 5000, "tube.length_m = "),
    ("tube.length_m=" + "9" * 5000, "tube.length_m = "),
    ("hose.length_m=1", "[hose] is not a table of a rig"),
    ("tube.a.b=1", "tube.a.b is not a key of this part"),
    ("name.x=1", "name = 'wrist'"),
])
def test_a_wrong_setting_is_one_line(setting, says):
    if setting == "name.x=1":
        says = "must be text of one line"
    with pytest.raises(InputError) as refusal:
        load_rig("wrist", [setting])
    assert says in str(refusal.value) and len(str(refusal.value)) < 6000


def test_a_setting_does_not_mend_a_broken_table(load):
    with pytest.raises(InputError, match="tube = 3 must be a table"):
        load("tube = 3\n", "tube.length_m=0.3")


def test_names_that_are_no_rig(tmp_path):
    for name in ("elbow", "", "wrist.json", str(tmp_path)):
        names = r"\(cabinet, wrist, valve_near, valve_far\)"
        with pytest.raises(InputError, match=rf"not a built-in rig {names} and not a \.toml file"):
            load_rig(name)
    with pytest.raises(InputError, match=r"absent\.toml: no such file"):
        load_rig(str(tmp_path / "absent.toml"))
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(InputError, match=r"folder\.toml: cannot be read: Is a directory"):
        load_rig(str(tmp_path / "folder.toml"))


def test_toml_is_read_whole_or_refused(tmp_path, monkeypatch):
    path = tmp_path / "a.toml"
    path.write_bytes(b"a = 1\n\xff")
    with pytest.raises(InputError, match="not UTF-8 text: byte 7 is 0xff"):
        read_toml(path)
    path.write_text("a = \n")
    with pytest.raises(InputError, match=r"not valid TOML: .*line 1"):
        read_toml(path)
    path.write_text("a = " + "9" * 5000)
    with pytest.raises(InputError, match=r"cannot be read: .*digits"):
        read_toml(path)
    path.write_text("a = " + "[" * 100_000)
    with pytest.raises(InputError, match="not valid TOML"):
        read_toml(path)
    path.write_text("a = 1\n")
    assert read_toml(path) == {"a": 1} == tomllib.loads("a = 1")
    monkeypatch.setattr("experiments.rigs.rig.MOST_BYTES", 5)
    with pytest.raises(InputError, match="more than 5 bytes; this is no file of parameters"):
        read_toml(path)


def test_every_table_is_part_of_the_rig(wrist):
    """Each table that a file may have reaches the rig: another value there makes another rig."""
    for table, part in {**PLAIN, **{k: KINDS[k][wrist.tables[k]["kind"]] for k in KINDS}}.items():
        numbers = [f for f, v in part._field_defaults.items() if isinstance(v, float) and f != "transmission"]
        key = numbers[0] if numbers else next(iter(part._field_defaults))  # of a switch alone, the switch
        value = getattr(getattr(wrist.plant, table, None) or {"tone": wrist.tone, "timing": wrist.timing,
                        "controller": wrist.controller, "actuator": wrist.stage, "filling": wrist.filling,
                            **guard_parts(wrist.guards)}[table], key)
        other = not value if value is True else value * 1.01 or 0.01
        tables = {**wrist.tables, table: {**wrist.tables.get(table, {}), key: other}}
        changed = make_rig(tables, "here", BUILT_IN)
        assert (changed[:8], changed.guards) != (wrist[:8], wrist.guards), f"{table}.{key}"


def test_the_clamp_of_a_rig(wrist):
    """At rest the cuff holds arterial pressure less p0, and less light means less slope, down to none."""
    point = clamp(wrist, 95.0, 0.0)
    assert point.state.cuff_mmHg == pytest.approx(90.0) and point.area == pytest.approx(0.6 / 1.6)
    dim = load_rig("wrist", ["light.emitter=0.5"])
    assert clamp(dim, 95.0, 0.0).light_slope == pytest.approx(0.5 * point.light_slope)
    with pytest.raises(InputError, match=r"rig wrist: the light at 95 mmHg .* raise light\.emitter"):
        clamp(load_rig("wrist", ["light.emitter=0.0"]), 95.0, 0.0)
    with pytest.raises(InputError, match=r"rig wrist: supply\.pressure_mmHg: the reservoir settles at"):
        clamp(load_rig("wrist", ["supply.pump_flow_mL_s=0.1"]), 95.0, 0.0)
    with pytest.raises(InputError, match="rig wrist: no clamp at 4 mmHg"):
        clamp(wrist, 4.0, 0.0)
    assert math.isfinite(clamp(wrist, 300.0, 0.0, 10.0).light)
