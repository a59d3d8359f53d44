"""Parts from a file of the user's: loaded, run in the coupled loop, printed; and every way the file can be wrong."""
import json
import sys

import pytest

from experiments.rigs.rig import load_rig
from experiments.rigs.table import kind_of, rig_lines
from plant import declare
from plant.errors import InputError
from plant.own_class import load_class
from plant.parts import valve_flows, valve_play, valve_rates
from plant.pneumatics.flow_valve import FlowValve

HALF = '''"""A flow valve that only does half of what it is told."""
from plant.pneumatics.flow_valve import FlowValve, flow_valve_flows, flow_valve_play, flow_valve_rates
from plant.parts import valve_flows, valve_play, valve_rates


class HalfValve(FlowValve):
    """Half the travel."""


@valve_rates.of(HalfValve)
def half_rates(valve, state, command):
    return flow_valve_rates(FlowValve(*valve), state, 0.5 * command)


valve_flows.of(HalfValve)(lambda valve, air, state, node_mmHg, supply_mmHg: flow_valve_flows(
    FlowValve(*valve), air, state, node_mmHg, supply_mmHg))
valve_play.of(HalfValve)(lambda valve, previous, command: flow_valve_play(FlowValve(*valve), previous, command))
'''


@pytest.fixture
def cuffloop():
    """The command line, as the tests of the experiments run it."""
    from tests.experiments.conftest import said

    return said


@pytest.fixture
def refusal():
    """The line of a refused command."""
    from tests.experiments.conftest import refused

    return refused


@pytest.fixture
def own(tmp_path, monkeypatch):
    """Write a file of parts; what it registers, and the cache's memory of it, is undone afterwards."""
    before, modules = set(declare._outside_sources), set(sys.modules)
    known = {verb: dict(verb.implementations) for verb in (valve_rates, valve_flows, valve_play)}

    def write(text, name="mine.py"):
        (tmp_path / name).write_text(text)
        return tmp_path

    yield write
    for verb, implementations in known.items():
        verb.implementations.clear()
        verb.implementations.update(implementations)
    for name in set(sys.modules) - modules:
        if name.startswith("own_part_"):
            del sys.modules[name]
    if declare._outside_sources != before:
        declare._outside_sources.clear()
        declare._outside_sources.update(before)
        declare._place = None
        for dispatcher in declare._cached:
            declare._enable_cache(dispatcher)


def test_a_valve_of_ones_own(own):
    """Class and verbs are found; the compiled cache counts the file; the rig prints as one that loads again."""
    folder = own(HALF)
    (folder / "rig.toml").write_text('[valve]\nkind = "mine.py:HalfValve"\nconductance = 0.05\n')
    rig = load_rig(str(folder / "rig.toml"))
    kind = type(rig.plant.valve)
    assert kind.__name__ == "HalfValve" and issubclass(kind, FlowValve) and rig.plant.valve.conductance == 0.05
    assert kind in valve_rates.implementations and (folder / "mine.py") in declare._outside_sources
    assert load_class("mine.py:HalfValve", folder, "here") is kind  # the file is run once
    assert kind_of("valve", rig.plant.valve) == f"{folder / 'mine.py'}:HalfValve"
    (folder / "saved.toml").write_text("\n".join(rig_lines(rig, 100)))
    assert load_rig(str(folder / "saved.toml")).plant == rig.plant


@pytest.mark.parametrize(("text", "kind", "says"), [
    ("", "other.py:Valve", "other.py is not a file"),
    ("", "mine.py:Valve", "the file has no NamedTuple class 'Valve'"),
    ("Valve = 3", "mine.py:Valve", "the file has no NamedTuple class 'Valve'"),
    ("class Valve: pass", "mine.py:Valve", "the file has no NamedTuple class 'Valve'"),
    ("x =", "mine.py:Valve", "SyntaxError: "),
    ("import nowhere", "mine.py:Valve", "ModuleNotFoundError: No module named 'nowhere'"),
    ("1 / 0", "mine.py:Valve", "ZeroDivisionError: division by zero"),
    ("raise SystemExit(3)", "mine.py:Valve", "SystemExit: 3"),
    ("raise ValueError('a\\nb')", "mine.py:Valve", "ValueError: a"),
    ("from typing import NamedTuple\nclass Valve(NamedTuple):\n    size_mm: float = 1.0", "mine.py:Valve",
     "Valve.size_mm has no unit, bounds, meaning and source"),
    ("from plant.pneumatics.flow_valve import FlowValve\nclass Valve(FlowValve):\n    pass", "mine.py:Valve",
     "the file registers no @valve_rates.of(Valve)"),
    ("", "min\x00e.py:Valve", "is not a file"),
    ("", "x" * 300 + ".py:Valve", "is not a file"),
])
def test_a_wrong_file_is_one_line(own, text, kind, says):
    folder, before = own(text), set(sys.modules)
    with pytest.raises(InputError) as refusal:
        load_class(kind, folder, "rig.toml: valve.kind", (valve_rates, valve_flows, valve_play))
    assert str(refusal.value).startswith("rig.toml: valve.kind = ") and says in str(refusal.value)
    assert not [name for name in set(sys.modules) - before if name.startswith("own_part_") and "raise" in text]


def test_a_valve_without_a_twin(own):
    """A class that derives from neither built-in valve could run but not be linearised: refused, not run half."""
    folder = own(HALF.replace("(FlowValve)", "(NamedTuple)").replace('    """Half the travel."""', (
        '    size: Annotated[float, quantity("1", 0, 1, "size", "invented")] = 0.5')).replace(
        "from plant.pneumatics", "from typing import Annotated, NamedTuple\nfrom plant.declare import quantity\n"
        "from plant.pneumatics"))
    (folder / "rig.toml").write_text('[valve]\nkind = "mine.py:HalfValve"\n')
    with pytest.raises(InputError, match=r"mine\.py:HalfValve': derive it from .*, or register valve_nature"):
        load_rig(str(folder / "rig.toml"))


OWN_VALVE = '''
"""A valve of nobody's but ours: a first-order source of flow."""
from typing import Annotated, NamedTuple
from plant.declare import quantity
from plant.linear import linear
from plant.parts import (ValveNature, ValveRest, valve_at_rest, valve_flows, valve_nature, valve_play, valve_rates,
                         valve_twin)
from plant.pneumatics.supply import supply_equilibrium

class FlowSource(NamedTuple):
    full_mL_s: Annotated[float, quantity("mL/s", 1, 100, "flow at full command", "invented")] = 20.0
    lag_s: Annotated[float, quantity("s", 0.0005, 1, "time constant", "invented")] = 0.002

class SourceState(NamedTuple):
    flow_mL_s: float

@valve_rates.of(FlowSource)
def rates(valve, state, command):
    return SourceState((command * valve.full_mL_s - state.flow_mL_s) / valve.lag_s)

@valve_flows.of(FlowSource)
def flows(valve, air, state, node_mmHg, supply_mmHg):
    return max(state.flow_mL_s, 0.0), state.flow_mL_s

@valve_play.of(FlowSource)
def play(valve, previous, command):
    return command

@valve_nature.register(FlowSource)
def nature(valve):
    return ValveNature(SourceState(0.0), ("fill",), -1.0, "valve.full_mL_s")

@valve_at_rest.register(FlowSource)
def at_rest(valve, air, supply, outflow_mL_s, node_mmHg):
    return ValveRest(SourceState(outflow_mL_s), outflow_mL_s / valve.full_mL_s,
                     supply_equilibrium(supply, outflow_mL_s), True)

@valve_twin.register(FlowSource)
def twin(valve, air, side, node_mmHg, supply_mmHg, command):
    pole = 1.0 / valve.lag_s
    return linear(-pole, [[pole * valve.full_mL_s, 0, 0]], [[1.0], [1.0]], [[0, 0, 0], [0, 0, 0]],
                  "command node_pressure supply_pressure", "valve_flow supply_outflow", "source_flow")
'''


def test_a_valve_of_ones_own_in_one_file(own, cuffloop):
    """Adding a valve means adding one file: margins and the coupled run both know it."""
    folder = own(OWN_VALVE)
    (folder / "rig.toml").write_text(
        '[valve]\nkind = "mine.py:FlowSource"\nfull_mL_s = 20.0\n[actuator]\nkind = "direct"\n'
    )
    margins = cuffloop("margins", folder / "rig.toml", "--json")
    assert margins.status == 0 and json.loads(margins.out)["margins"][0]["gain_margin"] > 1.5
    run = cuffloop("simulate", folder / "rig.toml", "--record", "synthetic", "--seconds", "8", "--json")
    assert run.status == 0 and json.loads(run.out)["tracking"]["ideal"]["rms_mmHg"] < 3.0


@pytest.mark.slow
def test_failures_of_a_valve_of_ones_own(own, cuffloop):
    """What asks for a built-in valve's parameters does not apply, and says so; everything else runs."""
    folder = own(OWN_VALVE)
    (folder / "rig.toml").write_text('[valve]\nkind = "mine.py:FlowSource"\n[actuator]\nkind = "direct"\n')
    few = ("--faults", "valve_reversed,valve_stuck_half,valve_stuck_venting,tube_kinked", "--fingers", "1",
           "--without", "none", "--workers", "1")
    said = cuffloop("faults", folder / "rig.toml", *few, "--seconds", "2")
    assert said.status in (0, 1) and said.err == ""
    assert "not applicable to this rig: valve_slow: FlowSource registers no valve_slowed" in said.out
    refused = cuffloop("faults", folder / "rig.toml", "--faults", "valve_slow")
    assert refused.status == 2 and "valve_slow cannot happen to rig rig: FlowSource registers no" in refused.err


def test_an_inverse_needs_openings_to_believe_in(own, refusal):
    folder = own(OWN_VALVE)
    (folder / "rig.toml").write_text('[valve]\nkind = "mine.py:FlowSource"\n[actuator]\nkind = "flow_inverse"\n')
    assert "needs valve.kind = 'flow', or another valve whose" in refusal("margins", folder / "rig.toml")


def test_through_a_rig_file(own, refusal):
    folder = own("raise ValueError('first\\nsecond')")
    (folder / "rig.toml").write_text('[valve]\nkind = "mine.py:Valve"\n')
    line = refusal("simulate", folder / "rig.toml", "--record", "synthetic")
    assert line == f"{folder / 'rig.toml'}: valve.kind = 'mine.py:Valve': ValueError: first\\nsecond"
