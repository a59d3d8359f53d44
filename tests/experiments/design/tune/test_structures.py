"""Structures as vectors and back."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.tick.law import Controller, design
from controller.tuning.reduced import Ultimate
from experiments.design.tune.structures import STRUCTURES, bare, from_settings, space_of, to_settings

ULTIMATE = Ultimate(0.1, 0.01)
FRAME = Controller(output_low=0.0, output_bits=12, slew_per_s=3.0, kp=5.0, td_s=0.1, notch_Hz=40.0)


@pytest.mark.parametrize("structure", list(STRUCTURES))
@given(data=st.data())
def test_every_vector_is_a_controller_that_the_firmware_takes(structure, data):
    space = space_of(structure, ULTIMATE, FRAME, 1e-3)
    shares = data.draw(st.lists(st.floats(-0.2, 1.2), min_size=len(space.names), max_size=len(space.names)))
    controller = to_settings(space, space.low + np.array(shares) * (space.high - space.low))
    design(controller, 1e-3)
    assert (controller.output_low, controller.output_bits, controller.slew_per_s) == (0.0, 12, 3.0)


@pytest.mark.parametrize("structure", list(STRUCTURES))
def test_there_and_back(structure):
    space = space_of(structure, ULTIMATE, FRAME, 1e-3)
    x = space.low + np.linspace(0.3, 0.6, len(space.names)) * (space.high - space.low)
    assert from_settings(space, to_settings(space, x)) == pytest.approx(x, abs=1e-9)


def test_a_term_that_a_structure_lacks_is_not_there():
    controller = to_settings(space := space_of("PI", ULTIMATE, FRAME, 1e-3), 0.5 * (space.low + space.high))
    assert controller.td_s == controller.notch_Hz == controller.lead_zero_Hz == 0.0
    assert bare(FRAME).td_s == 0.0


def test_a_plainer_controller_becomes_a_vector_that_does_nearly_the_same():
    """A PI in the space of all terms: lead, notch and derivative are put where they do least."""
    from controller.tick.law import block_responses

    plain = Controller(kp=0.03, ti_s=0.02)
    space = space_of("PID with lead and notch", ULTIMATE, plain, 1e-3)
    near = to_settings(space, from_settings(space, plain))
    omega = np.array([10.0, 100.0])
    first, second = (np.prod([*block_responses(design(c, 1e-3), omega).values()], axis=0) for c in (plain, near))
    assert second == pytest.approx(first, rel=0.1)
