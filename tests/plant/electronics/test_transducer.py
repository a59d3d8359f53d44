"""The pressure transducer: bandwidth, gain, offset, place, and its twin."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.electronics.transducer import Transducer, linear_twin, sensed_pressure, transducer_rate

few = settings(max_examples=60, deadline=None)
transducers = st.from_type(Transducer)
pressures = st.floats(-50, 400)


@few
@given(transducers)
def test_half_power_at_the_bandwidth(transducer: Transducer) -> None:
    """|G(j2πf)| = gain/√2 at the −3 dB frequency: the definition of bandwidth."""
    twin = linear_twin(transducer)
    corner = twin.response("reading", twin.inputs[0], np.array([2.0 * math.pi * transducer.bandwidth_Hz]))[0]
    assert abs(corner) == pytest.approx(transducer.gain / math.sqrt(2.0), rel=1e-12)


@few
@given(transducers, pressures, pressures)
def test_twin_is_the_slope_of_the_compiled_function(transducer: Transducer, reading: float, pressure: float) -> None:
    """A and B by central differences; the system is linear, so any step will do."""
    twin, step = linear_twin(transducer), 1.0
    by_reading = transducer_rate(transducer, reading + step, pressure) - transducer_rate(
        transducer, reading - step, pressure)
    by_pressure = transducer_rate(transducer, reading, pressure + step) - transducer_rate(
        transducer, reading, pressure - step)
    assert by_reading / (2.0 * step) == pytest.approx(twin.a[0, 0], rel=1e-9)
    assert by_pressure / (2.0 * step) == pytest.approx(twin.b[0, 0], rel=1e-9)


@few
@given(transducers, pressures)
def test_settles_to_gain_and_offset(transducer: Transducer, pressure: float) -> None:
    """At rest the reading is g p + b."""
    rest = transducer.gain * pressure + transducer.offset_mmHg
    assert transducer_rate(transducer, rest, pressure) == 0.0
    assert transducer_rate(transducer, rest - 1.0, pressure) > 0.0 > transducer_rate(transducer, rest + 1.0, pressure)


def test_place() -> None:
    """In the cuff or at the valve end, in simulation and twin alike."""
    assert sensed_pressure(Transducer(at_valve_end=False), 120.0, 90.0) == 90.0
    assert sensed_pressure(Transducer(at_valve_end=True), 120.0, 90.0) == 120.0
    assert linear_twin(Transducer(at_valve_end=False)).inputs == ("cuff_pressure",)
    assert linear_twin(Transducer(at_valve_end=True)).inputs == ("node_pressure",)
