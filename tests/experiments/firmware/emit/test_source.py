"""Source behind compiled functions, and where constants are defined."""
import pytest

from controller.protection import detectors_loop
from controller.tick import inverse, law
from experiments.firmware.emit.kinds import REAL, Refusal, kind_of
from experiments.firmware.emit.source import defining_module, plain_function, source_of, unrolled
from plant.numerics import integrate


def test_a_function_knows_its_place() -> None:
    """File inside the project, line of its name, docstring."""
    found = source_of(law.convert.py_func)  # type: ignore[attr-defined]
    assert found.file == "plant/electronics/converter.py"
    assert found.doc.startswith("Reading of")
    text = (law.__file__).replace("controller/tick/law.py", found.file)
    with open(text, encoding="utf-8") as lines:
        assert "def convert(" in lines.read().splitlines()[found.line - 1]


def test_a_constant_is_followed_to_where_it_is_defined() -> None:
    """Through imports of imports."""
    assert defining_module(vars(inverse), "NOMINAL") == "controller.tick.inverse"
    assert defining_module(vars(detectors_loop), "NOISE") == "controller.protection.detectors_loop"


def test_a_verb_is_resolved_by_class() -> None:
    """The actuator stage's own function, and none for what has no stage."""
    assert plain_function(inverse.valve_command, [kind_of(inverse.Direct())]) is not None
    assert plain_function(inverse.valve_command, [REAL]) is None


def test_element_wise_functions_are_written_out() -> None:
    """One expression for each number of a tuple."""
    state = law.initial_control()
    found = unrolled(integrate.advance, [kind_of(state), REAL, kind_of(state)])
    assert found.name == "advance_ControllerState"


def test_what_has_no_source_is_refused() -> None:
    """A built-in function."""
    with pytest.raises(Refusal, match="cannot be read"):
        source_of(len)
