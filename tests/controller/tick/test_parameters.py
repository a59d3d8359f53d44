"""The user's side of the control law: two forms of one law, and one clear line for what makes no sense."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from controller.tick.discretise import METHODS
from controller.tick.law import controller_linear, design
from controller.tick.parameters import GAINS, Controller, SLOWEST_Hz, check_controller, to_ideal, to_parallel
from plant.declare import declared
from plant.errors import InputError

T = 1e-3
ideal_laws = st.builds(
    lambda kp, ti, td, n: Controller(form="ideal", kp=kp, ti_s=ti, td_s=td, filter_ratio=n),
    st.floats(1e-4, 1.0), st.just(0.0) | st.floats(1e-3, 10.0), st.just(0.0) | st.floats(2e-3, 0.1), st.floats(2, 20),
)


@given(ideal_laws, st.sampled_from(METHODS))
def test_both_forms_of_a_law_have_the_same_coefficients(law, method):
    law = law._replace(method=method)
    assert design(to_parallel(law), T) == pytest.approx(design(law, T), rel=1e-12)


@given(ideal_laws)
def test_there_and_back_is_the_same_law(law):
    again = to_ideal(to_parallel(law))
    assert (again.kp, again.ti_s, again.td_s) == pytest.approx((law.kp, law.ti_s, law.td_s), rel=1e-12)
    assert again.filter_ratio == pytest.approx(law.filter_ratio if law.td_s > 0.0 else 10.0, rel=1e-12)


def test_parallel_gains_are_the_textbooks():
    """Ki = Kp/Ti, Kd = Kp Td, Tf = Td/N. Common practice."""
    law = to_parallel(Controller(form="ideal", kp=0.02, ti_s=0.05, td_s=0.004, filter_ratio=8.0))
    assert (law.form, law.kp) == ("parallel", 0.02)
    assert (law.ki, law.kd, law.filter_s) == pytest.approx((0.4, 8e-5, 5e-4), rel=1e-12)


@pytest.mark.parametrize(("law", "key"), [
    (Controller(form="parallel", kp=0.0, ki=1.0), "controller.kp"),
    (Controller(form="parallel", kp=0.1, kd=1.0), "controller.filter_s"),
])
def test_a_law_without_an_ideal_form_says_so(law, key):
    with pytest.raises(InputError, match=key):
        to_ideal(law)


def test_a_form_is_left_alone_by_its_own_conversion():
    one, other = Controller(form="ideal", ti_s=0.1), Controller(form="parallel", ki=0.1)
    assert to_ideal(one) is one
    assert to_parallel(other) is other


SENSELESS = [
    (Controller(kp=-1.0), "controller.kp"),
    (Controller(kp=math.nan), "controller.kp"),
    (Controller(form="series"), "controller.form"),
    (Controller(method="zoh"), "controller.method"),
    (Controller(form="ideal", ki=1.0), "controller.ki"),
    (Controller(form="ideal", filter_s=1.0), "controller.filter_s"),
    (Controller(form="parallel", ti_s=0.1), "controller.ti_s"),
    (Controller(form="parallel", filter_ratio=5.0), "controller.filter_ratio"),
    (Controller(output_low=0.5, output_high=-0.5), "controller.output_low"),
    (Controller(output_low=0.5, output_high=0.5), "controller.output_low"),
    (Controller(lead_zero_Hz=10.0), "controller.lead_pole_Hz"),
    (Controller(lead_pole_Hz=10.0), "controller.lead_zero_Hz"),
    (Controller(lead_zero_Hz=10.0, lead_pole_Hz=500.0), "controller.lead_pole_Hz"),
    (Controller(lead_zero_Hz=600.0, lead_pole_Hz=100.0), "controller.lead_zero_Hz"),
    (Controller(notch_Hz=500.0), "controller.notch_Hz"),
    (Controller(notch_Hz=500.0, method="matched"), "controller.notch_Hz"),
    (Controller(notch_Hz=1e-5), "controller.notch_Hz"),
    (Controller(prewarp_Hz=500.0), "controller.prewarp_Hz"),
    (Controller(prewarp_Hz=40.0, method="matched"), "controller.prewarp_Hz"),
    (Controller(form="parallel", kd=1e-3), "controller.filter_s"),
    (Controller(td_s=1e-4, filter_ratio=100.0), "controller.filter_ratio"),
    (Controller(kp=1.0, ti_s=1e-9), "in parallel form.ki"),
]


@pytest.mark.parametrize(("law", "key"), SENSELESS)
def test_senseless_values_get_one_line_that_names_the_key(law, key):
    with pytest.raises(InputError) as caught:
        design(law, T)
    message = str(caught.value)
    assert message.startswith("controller")
    assert key in message
    assert "\n" not in message


@pytest.mark.parametrize("period", [0.0, -1e-3, math.nan, math.inf])
def test_a_tick_must_be_a_time(period):
    with pytest.raises(InputError, match="period_s"):
        check_controller(Controller(), period)


@pytest.mark.parametrize("law", [
    Controller(),
    Controller(lead_zero_Hz=10.0, lead_pole_Hz=499.0),
    Controller(lead_zero_Hz=10.0, lead_pole_Hz=900.0, method="matched"),
    Controller(lead_zero_Hz=900.0, lead_pole_Hz=900.0, method="backward_euler"),
    Controller(form="parallel", kd=1e-3, method="backward_euler"),
    Controller(form="parallel", kd=1e-3, filter_s=6e-5),
    Controller(form="parallel", kp=0.0, ki=1.0),
])
def test_what_makes_sense_passes(law):
    check_controller(law, T)


NUMBERS = {
    p.name: st.just(p.default) | (st.integers(int(p.low), int(p.high)) if p.kind is int else st.floats(p.low, p.high))
    for p in declared(Controller) if p.low is not None
}


@st.composite
def anywhere(draw):
    """Anything the declared bounds allow, with defaults, which switch things off, often; half of them tidied up."""
    fields = {"form": draw(st.sampled_from(list(GAINS))), "method": draw(st.sampled_from(METHODS))}
    law = Controller(**fields, **{key: draw(number) for key, number in NUMBERS.items()})
    if draw(st.booleans()):
        other = "parallel" if law.form == "ideal" else "ideal"
        low, high = sorted((law.output_low, law.output_high))
        law = law._replace(**{key: Controller._field_defaults[key] for key in GAINS[other]}, output_low=low,
                           output_high=high, prewarp_Hz=law.prewarp_Hz if law.method == "tustin" else 0.0)
        if 0.0 in (law.lead_zero_Hz, law.lead_pole_Hz):
            law = law._replace(lead_zero_Hz=0.0, lead_pole_Hz=0.0)
    return law


@settings(max_examples=200, deadline=None)
@given(anywhere(), st.sampled_from([1e-4, 1e-3, 0.02]))
def test_any_allowed_law_is_refused_in_one_line_or_gives_a_usable_one(law, period):
    """Finite coefficients, own poles inside the unit circle or the integrator at one."""
    try:
        coefficients = design(law, period)
    except InputError as refused:
        assert "\n" not in str(refused)
        return
    assert all(isinstance(value, float) and math.isfinite(value) for value in coefficients)
    poles = np.linalg.eigvals(controller_linear(coefficients)[0])
    assert np.all(np.abs(poles) <= 1.0)
    assert coefficients.output_low < coefficients.output_high
    assert 0.0 <= coefficients.tracking_gain <= 1.0


def test_a_rig_files_table_is_validated_by_the_declaration():
    adapter = TypeAdapter(Controller)
    law = adapter.validate_python({"form": "parallel", "kp": 0.02, "ki": 1, "method": "matched"})
    assert law == Controller(form="parallel", kp=0.02, ki=1.0, method="matched")
    for bad in ({"form": "series"}, {"method": "zoh"}, {"kp": -0.1}, {"output_bits": 99}, {"kp": "fast"}):
        with pytest.raises(ValidationError, match=next(iter(bad))):
            adapter.validate_python(bad)


def test_every_parameter_is_declared_with_meaning_and_source():
    for parameter in declared(Controller):
        assert parameter.meaning
        assert parameter.source


def test_what_an_ideal_form_needs_by_hand():
    """Nothing at all may be parallel with kp = 0; 1 in 20 as integral is 0.05 s; a derivative of 0.5 over 0.25 is 2."""
    nothing = Controller(form="parallel", kp=0.0, ki=0.0, kd=0.0)
    assert to_ideal(nothing)._replace(form="parallel") == nothing
    plain = to_ideal(Controller(form="parallel", kp=1.0, ki=20.0))
    assert (plain.ti_s, plain.td_s, plain.filter_s, plain.ki, plain.kd) == (0.05, 0.0, 0.0, 0.0, 0.0)
    full = to_ideal(Controller(form="parallel", kp=1.0, ki=0.0, kd=0.5, filter_s=0.25))
    assert (full.ti_s, full.td_s, full.filter_ratio, full.filter_s) == (0.0, 0.5, 2.0, 0.0)


def test_the_slowest_corner_itself_is_allowed():
    for frequency in (0.0, SLOWEST_Hz):
        check_controller(Controller(notch_Hz=frequency), 1e-3)
    with pytest.raises(InputError, match="write 0 for none"):
        check_controller(Controller(notch_Hz=0.999 * SLOWEST_Hz), 1e-3)
