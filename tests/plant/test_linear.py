"""State-space models and their joining by name, against transfer functions written out by hand."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.linear import Linear, join, linear, static

few = settings(max_examples=40, deadline=None)
poles = st.floats(0.1, 1000)
gains = st.floats(-20, 20)
omega = np.geomspace(0.01, 1e4, 25)


def lag(pole: float, gain: float, input_: str, output: str) -> Linear:
    return linear(-pole, gain * pole, 1.0, 0.0, input_, output, f"state_of_{output}")


@few
@given(poles, gains)
def test_lag_is_its_transfer_function(pole: float, gain: float) -> None:
    """g/(1 + jω/p), the first-order lag."""
    ours = lag(pole, gain, "u", "y").response("y", "u", omega)
    np.testing.assert_allclose(ours, gain / (1.0 + 1j * omega / pole), rtol=1e-12, atol=1e-15)


@few
@given(poles, poles, gains)
def test_series_is_the_product(first: float, second: float, gain: float) -> None:
    """Two parts one after the other: the product of their responses, in whichever order they are listed."""
    parts = [lag(second, 1.0, "x", "y"), lag(first, gain, "u", "x")]
    for order in (parts, parts[::-1]):
        ours = join(order, ("u",), ("y",)).response("y", "u", omega)
        np.testing.assert_allclose(ours, gain / (1.0 + 1j * omega / first) / (1.0 + 1j * omega / second),
                                   rtol=1e-9, atol=1e-15)


@few
@given(poles, st.floats(0.1, 20))
def test_negative_feedback(pole: float, gain: float) -> None:
    """L/(1 + L) from the reference, 1/(1 + L) for the error."""
    error = static([[1.0, -1.0]], "reference y", "error")
    whole = join([error, lag(pole, gain, "error", "y")], ("reference",), ("y", "error"))
    loop = gain / (1.0 + 1j * omega / pole)
    np.testing.assert_allclose(whole.response("y", "reference", omega), loop / (1.0 + loop), rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(whole.response("error", "reference", omega), 1.0 / (1.0 + loop), rtol=1e-9, atol=1e-15)


@few
@given(st.floats(-20, 20).filter(lambda g: abs(1.0 + g) > 0.01))
def test_algebraic_loop_is_solved(gain: float) -> None:
    """A memoryless loop of gain g: g/(1 + g)."""
    error = static([[1.0, -1.0]], "reference y", "error")
    whole = join([error, static(gain, "error", "y")], ("reference",), ("y",))
    assert whole.a.shape == (0, 0)
    assert whole.response("y", "reference", omega) == pytest.approx(np.full(len(omega), gain / (1.0 + gain)))


def test_one_output_drives_many_inputs_and_externals_too() -> None:
    """A signal is a name: all that read it get it, from a part first, from outside otherwise."""
    parts = [static(2.0, "u", "x"), static([[1.0, 1.0]], "x u", "y"), static(3.0, "x", "z")]
    whole = join(parts, ("u", "x"), ("z", "y"))  # the part's x wins over the outside one
    assert whole.inputs == ("u", "x") and whole.outputs == ("z", "y")
    np.testing.assert_allclose(whole.d, [[6.0, 0.0], [3.0, 0.0]])


def test_missing_source_is_named() -> None:
    """Nobody drives the input: say which."""
    with pytest.raises(ValueError, match="'leak'"):
        join([static([[1.0, 1.0]], "u leak", "y")], ("u",), ("y",))


def test_shapes_follow_the_names() -> None:
    """Lists or scalars are shaped by the signal names; a wrong count is an error."""
    model = linear([1, 2, 3, 4], [1, 2], [[1, 0]], 0, "u", "y", "first second")
    assert model.a.shape == (2, 2) and model.b.shape == (2, 1) and model.c.shape == (1, 2) and model.d.shape == (1, 1)
    assert model.states == ("first", "second")
    with pytest.raises(ValueError, match="reshape"):
        linear([1, 2, 3], [1, 2], [1, 0], 0, "u", "y", "first second")


@few
@given(poles, poles, gains)
def test_python_control_agrees(first: float, second: float, gain: float) -> None:
    """The exported StateSpace has the same response and the same names."""
    whole = join([lag(first, gain, "u", "x"), lag(second, 1.0, "x", "y")], ("u",), ("y", "x"))
    theirs = whole.as_control()
    assert theirs.input_labels == ["u"] and theirs.output_labels == ["y", "x"]
    np.testing.assert_allclose(theirs(1j * omega)[0, 0], whole.response("y", "u", omega), rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(theirs(1j * omega)[1, 0], whole.response("x", "u", omega), rtol=1e-9, atol=1e-15)
