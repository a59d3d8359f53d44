"""The study of word lengths: its figures follow theory, its recommendation its own limits."""
import math
from dataclasses import replace

import numpy as np
import pytest

from experiments.design.rounding.study import (
    NOISE_SHARE,
    memories_of,
    recommend,
    shortcomings,
    study,
    word_lengths,
)
from experiments.rigs.rig import load_rig
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.design.rounding.helper import wrist


@pytest.mark.parametrize(("text", "lengths"), [
    ("12:15", [12, 13, 14, 15]), ("12:32:10", [12, 22, 32]), ("24,16,16", [16, 24]), ("16", [16])])
def test_lengths(text, lengths):
    assert word_lengths(text) == lengths


@pytest.mark.parametrize("text", ["7:12", "12:33", "16:12", "a", "12:", "12:20:0", "12:20:2:1", "", "12.5", "1_2",
                                  "１２", "12," + "9" * 5000, "-8:12"])
def test_what_is_no_length_is_refused(text):
    with pytest.raises(InputError, match="--words"):
        word_lengths(text)


def test_measured_noise_stays_below_what_theory_and_the_converters_allow():
    found = wrist()
    for one in found.lengths:
        if one.words >= 16:
            assert one.added_mmHg <= one.allowed_mmHg(found.floor_mmHg)
    assert found.length(12).added_mmHg > 3.0 * found.length(16).added_mmHg
    assert found.length(8).added_mmHg > 0.1


def test_the_recommended_length_adds_little_and_the_next_shorter_one_too_much():
    found = wrist()
    assert found.recommended is not None
    allowed = max(NOISE_SHARE * found.servo_mmHg, found.floor_mmHg)
    assert found.length(found.recommended).added_mmHg <= allowed
    shorter = [one for one in found.lengths if one.words < found.recommended]
    assert shortcomings(shorter[-1], found.servo_mmHg, found.floor_mmHg)
    assert f"{shorter[-1].words} bits:" in found.reasons[2]


def test_nothing_is_recommended_where_the_longest_length_is_not_good_enough():
    found = wrist()
    bad = [replace(one, added_mmHg=1.0) for one in found.lengths]
    share = f"{100.0 / found.servo_mmHg:.1f} %"
    assert recommend(bad, found.servo_mmHg, 0.1) == (
        None, [f"32 bits: adds 1.0000 mmHg, {share} of the servo error (at most 1 %)"])


@pytest.mark.parametrize(("change", "said"), [
    ({"status": "diverged"}, "diverged"), ({"modulus_change": 0.1}, "modulus margin"),
    ({"blind_mmHg": 1.0}, "overlooks"),
    ({"saturated_share": 0.1}, "end of its word")])
def test_each_shortcoming_is_told(change, said):
    found = wrist()
    assert shortcomings(found.length(32), 100.0) == []
    assert said in shortcomings(replace(found.length(32), **change), 100.0)[0]


def test_bits_halve_steps_and_blind_errors():
    found = wrist()
    for one, other in zip(found.lengths, found.lengths[1:], strict=False):
        ratio = 2.0 ** (other.words - one.words)
        assert one.blind_mmHg == pytest.approx(ratio * other.blind_mmHg)
        assert one.modulus_change < 1e-3 or one.words < 12


def test_a_chosen_range_holds_and_moves_the_words_point():
    rig = load_rig("wrist")
    trace = synthesise(SyntheticPressure(), rig.timing.period_s, 8.0, 1)
    found = study(rig, trace, [16], error_mmHg=256.0)
    assert found.ranges.error_mmHg == 256.0
    assert found.length(16).formats.error == wrist().length(16).formats.error - 2
    assert found.length(16).blind_mmHg == pytest.approx(4.0 * wrist().length(16).blind_mmHg)


def test_the_lags_of_the_protection_are_found():
    found = memories_of(load_rig("wrist"))
    assert found["exposure.memory_s"] == 60.0 and found["fallback.mean_s"] == 2.0
    assert wrist().stalls[0].name == "exposure.memory_s"


def test_a_rig_that_does_not_hold_its_clamp_is_refused():
    rig = load_rig("wrist", ["controller.kp=0.5"])
    trace = synthesise(SyntheticPressure(), rig.timing.period_s, 8.0, 1)
    with pytest.raises(InputError, match="no word length can be judged"):
        study(rig, trace, [16])


def test_figures_are_finite():
    found = wrist()
    for one in found.lengths:
        assert math.isfinite(one.added_mmHg) and math.isfinite(one.predicted_mmHg)
        assert np.isfinite(list(one.sums.values())).all()


@pytest.mark.slow
@pytest.mark.parametrize("name", ["wrist", "cabinet"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_both_rigs_and_other_records_keep_it(name, seed):
    rig = load_rig(name)
    trace = synthesise(SyntheticPressure(), rig.timing.period_s, 30.0, seed)
    found = study(rig, trace, list(range(16, 33)), seed=seed)
    assert all(one.added_mmHg <= one.allowed_mmHg(found.floor_mmHg) for one in found.lengths)
