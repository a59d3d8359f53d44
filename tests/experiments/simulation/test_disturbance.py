"""What faults do to samples: neutral to the bit, and each field as it says."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numba import njit

from experiments.simulation.coupled import Sample
from experiments.simulation.disturbance import (
    NONE,
    Disturbance,
    converter_error,
    disturbance,
    disturbed_samples,
    joined,
    tick_is_lost,
    with_stuck_bit,
)
from plant.assembly import Plant

PLANT = Plant()
LEVELS = st.floats(0.0, 0.98)
HELD = Sample(0.3, 90.0)
READINGS = st.floats(0.0, 399.0)


@njit
def stuck(value, step, bit, high):
    return with_stuck_bit(value, step, bit, high)


def sampled(fault, light=0.3, reading=90.0, tick=1000, held=(0.11, 55.0)):
    return disturbed_samples(fault, PLANT, Sample(light, reading), Sample(*held), 1, tick, 0.001)


@given(LEVELS, READINGS, st.integers(0, 100_000))
def test_no_disturbance_changes_no_bit(light, reading, tick):
    assert sampled(NONE, light, reading, tick) == (light, reading)
    assert sampled(disturbance(), light, reading, tick) == (light, reading)


@given(LEVELS, READINGS)
def test_gains_and_offsets(light, reading):
    fault = disturbance(light_gain=0.5, light_offset=0.1, reading_gain=0.8, reading_offset_mmHg=5)
    found = sampled(fault, light, reading)
    assert found == pytest.approx((0.5 * light + 0.1, 0.8 * reading + 5.0))


def test_drifts_count_from_the_onset():
    fault = disturbance(onset_tick=500, emitter_drift_per_s=-0.1, reading_drift_mmHg_s=2.0)
    assert sampled(fault, tick=1500) == pytest.approx((0.27, 92.0))


def test_frozen_swapped_and_railed():
    assert sampled(disturbance(light_frozen=True, reading_frozen=True)) == (0.11, 55.0)
    assert sampled(disturbance(swapped=True)) == pytest.approx((90.0 / 400.0, 0.3 * 400.0))
    assert sampled(disturbance(reading_offset_mmHg=1e5))[1] == 400.0
    assert sampled(disturbance(reading_offset_mmHg=-1e5))[1] == -40.0
    assert sampled(disturbance(light_offset=5))[0] == 1.0


def test_noise_has_its_size():
    fault = disturbance(light_noise=0.01, reading_noise_mmHg=3.0)
    found = np.array([sampled(fault, tick=k) for k in range(4000)])
    assert np.std(found, axis=0) == pytest.approx([0.01, 3.0], rel=0.06)
    assert np.mean(found, axis=0) == pytest.approx([0.3, 90.0], rel=0.01)


@given(st.integers(0, 65535), st.integers(0, 15), st.booleans())
def test_a_stuck_bit_is_one_bit_of_the_code(code, bit, high):
    step = 2.0**-16
    found = stuck(code * step, step, bit, high)
    wanted = code | (1 << bit) if high else code & ~(1 << bit)
    assert found == wanted * step


def test_ticks_are_lost_with_their_share():
    fault = disturbance(lost_share=0.3)
    assert np.mean([tick_is_lost(fault, 1, k) for k in range(5000)]) == pytest.approx(0.3, abs=0.02)
    assert not any(tick_is_lost(NONE, 1, k) for k in range(100))


def test_two_faults_at_once():
    """Gains multiply, offsets add, either switch counts; with nothing it is the fault itself."""
    one = disturbance(light_gain=0.5, reading_offset_mmHg=3, hung=True, late_ticks=2)
    two = disturbance(light_gain=0.4, reading_offset_mmHg=4, swapped=True, power=0.7)
    both = joined(one, two)
    assert both.light_gain == pytest.approx(0.2) and both.reading_offset_mmHg == 7.0
    assert both.hung and both.swapped and both.late_ticks == 2 and both.power == 0.7
    assert joined(one, NONE) == one and joined(NONE, two) == two


def test_types_are_the_kernels():
    fault = disturbance(light_gain=1, late_ticks=2.0, hung=1)
    assert [type(v) for v in fault] == [type(v) for v in Disturbance()]
    assert not math.isnan(fault.light_gain)


def test_a_reference_shows_a_stuck_bit_and_an_old_sample_and_nothing_else():
    plant = Plant()
    assert converter_error(NONE, plant, HELD) == 0.0
    for bit in range(2, 16):
        for high in (False, True):
            for which in ("light_bit", "reading_bit"):
                error = converter_error(disturbance(bit_high=high, **{which: bit}), plant, HELD)
                assert error == pytest.approx(2.0 ** (bit - 16), abs=2.0**-16)
    frozen = disturbance(light_frozen=True)
    assert converter_error(frozen, plant, HELD) == 0.0  # the light itself stands still
    assert converter_error(frozen._replace(converters_old=True), plant, HELD) == pytest.approx(2.0 / 3.0 - 0.3)
