import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.check.tracking import Tracking, tracking
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise

ARTERIAL = synthesise(SyntheticPressure(), 1e-3, 30.0, 1).pressure_mmHg
COUNT = len(ARTERIAL)
NEVER, ALWAYS = np.zeros(COUNT, bool), np.ones(COUNT, bool)


def followed(cuff, usable=ALWAYS, saturated=NEVER, ideal=ARTERIAL, arterial=ARTERIAL):
    return tracking(cuff, arterial, ideal, saturated, usable, 1e-3)


@given(st.floats(-20, 20), st.floats(-20, 20))
@settings(max_examples=15, deadline=None)
def test_a_constant_offset_is_bias_and_nothing_else(offset, p0):
    found = followed(ARTERIAL + offset, ideal=ARTERIAL - p0)
    for ticks, beats, expected in (
        (found.arterial, found.arterial_beats, offset), (found.ideal, found.ideal_beats, offset + p0)
    ):
        assert (ticks.rms_mmHg, ticks.peak_mmHg) == pytest.approx((abs(expected), abs(expected)), abs=1e-9)
        assert ticks.bias_mmHg == pytest.approx(expected, abs=1e-9)
        for error in (beats.systolic, beats.mean, beats.diastolic):
            assert error == pytest.approx((expected, 0.0, expected, expected), abs=1e-6)
    assert [h.gain for h in found.harmonics] == pytest.approx([1.0] * 10)


@given(st.floats(0.5, 1.5))
@settings(max_examples=10, deadline=None)
def test_a_gain_scales_pulse_and_harmonics(gain):
    mean = float(np.mean(ARTERIAL))
    found = followed(mean + gain * (ARTERIAL - mean))
    assert [h.gain for h in found.harmonics] == pytest.approx([gain] * 10)
    pulse = found.arterial_beats.systolic.mean_mmHg - found.arterial_beats.diastolic.mean_mmHg
    assert pulse == pytest.approx((gain - 1) * 45, rel=0.1, abs=1e-9)
    assert found.arterial.rms_mmHg == pytest.approx(abs(gain - 1) * np.std(ARTERIAL))


def test_beat_errors_against_numbers_worked_out_by_hand():
    """Systolic errors of 1, 2, 3, …: mean and SD of an arithmetic series, limits of agreement mean ± 1.96 SD."""
    flat = synthesise(SyntheticPressure(respiration_mmHg=0, wave_mmHg=0), 1e-3, 30.0, 1).pressure_mmHg
    clean = followed(flat, arterial=flat, ideal=flat)
    beats = clean.arterial_beats.beats
    tops = np.flatnonzero((flat[1:-1] > flat[:-2]) & (flat[1:-1] >= flat[2:]) & (flat[1:-1] > 110)) + 1
    cuff = flat.copy()
    from plant.pressure.beats import detect_beats

    onsets = detect_beats(flat, 1e-3)
    counted = [int(t) for t in tops if onsets[0] <= t < onsets[-1]]
    assert len(counted) == beats
    for number, top in enumerate(counted, start=1):
        cuff[top] += number
    error = followed(cuff, arterial=flat, ideal=flat).arterial_beats.systolic
    assert error.mean_mmHg == pytest.approx((beats + 1) / 2)
    assert error.sd_mmHg == pytest.approx(math.sqrt(beats * (beats + 1) / 12))
    assert error.agreement_high_mmHg - error.mean_mmHg == pytest.approx(1.96 * error.sd_mmHg)
    assert error.mean_mmHg - error.agreement_low_mmHg == pytest.approx(1.96 * error.sd_mmHg)


def test_beats_touched_by_what_does_not_count_are_left_out_whole():
    usable = ALWAYS.copy()
    usable[10_000:10_300] = usable[20_000] = usable[:2000] = False
    spoilt = ARTERIAL.copy()
    spoilt[~usable] = np.nan
    found, clean = followed(spoilt, usable), followed(ARTERIAL)
    assert clean.arterial_beats.beats - found.arterial_beats.beats in (4, 5, 6)
    assert found.arterial.peak_mmHg == 0.0
    assert found.arterial_beats.mean == pytest.approx((0, 0, 0, 0), abs=1e-9)
    assert found.counted_s == pytest.approx(np.count_nonzero(usable) * 1e-3)
    assert found.rate_per_min == pytest.approx(70.0, rel=0.03)
    infinite = spoilt.copy()
    infinite[~usable] = np.inf
    assert followed(infinite, usable) == found


def test_pulse_pressure_is_that_of_the_arterial_pressure_whatever_the_cuff_does():
    pulse = followed(ARTERIAL).pulse_mmHg
    assert followed(0.5 * ARTERIAL + 20.0).pulse_mmHg == pulse
    assert followed(ARTERIAL, arterial=2.0 * ARTERIAL - 90.0).pulse_mmHg == pytest.approx(2.0 * pulse, rel=1e-6)
    assert 0.5 * np.ptp(ARTERIAL) < pulse <= np.ptp(ARTERIAL)


def test_saturation_counts_only_where_time_counts():
    usable, saturated = ALWAYS.copy(), NEVER.copy()
    usable[:10_001] = False
    saturated[:15_001] = True
    assert followed(ARTERIAL, usable, saturated).saturation_share == pytest.approx(0.25)


def test_the_lag_of_the_cuff_does_not_move_its_beats():
    found = followed(np.concatenate([np.full(15, ARTERIAL[0]), ARTERIAL[:-15]]))
    assert abs(found.arterial_beats.systolic.mean_mmHg) < 0.1
    assert found.harmonics[0].phase_deg == pytest.approx(-360 * 0.015 * found.harmonics[0].frequency_Hz, rel=0.02)


def test_a_trace_without_beats():
    flat = np.full(COUNT, 90.0)
    found = followed(flat + 1, arterial=flat, ideal=flat)
    assert found.arterial.rms_mmHg == 1.0 and found.arterial_beats.beats == 0 and found.harmonics == ()
    assert math.isnan(found.arterial_beats.systolic.mean_mmHg)
    plain = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert plain["arterial_beats"]["systolic"]["mean_mmHg"] is None and plain["rate_per_min"] is None
    assert math.isnan(found.pulse_mmHg) and plain["pulse_mmHg"] is None
    assert "0 beats" in str(found)


def test_plain_numbers_carry_everything_with_units():
    found = followed(0.9 * ARTERIAL)
    plain = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert set(plain) == set(Tracking._fields)
    assert plain["ideal"]["rms_mmHg"] == found.ideal.rms_mmHg
    assert plain["ideal_beats"]["beats"] == found.ideal_beats.beats
    assert len(plain["harmonics"]) == 10 and plain["harmonics"][2]["number"] == 3
    assert set(plain["harmonics"][0]) == {"number", "frequency_Hz", "gain", "phase_deg", "coherence"}
    assert len(str(found).splitlines()) == 3 and "rms" in str(found)


def test_arrays_that_do_not_fit():
    with pytest.raises(InputError, match=r"cuff_mmHg has shape \(30000,\) and usable \(30001,\)"):
        followed(ARTERIAL[1:])
    with pytest.raises(InputError, match="no tick counts"):
        followed(ARTERIAL, NEVER)
    broken = ARTERIAL.copy()
    broken[5] = np.nan
    with pytest.raises(InputError, match="cuff_mmHg at tick 5 = nan"):
        followed(broken)
    with pytest.raises(InputError, match="arterial_mmHg at tick 5 = nan"):
        followed(ARTERIAL, arterial=broken)
