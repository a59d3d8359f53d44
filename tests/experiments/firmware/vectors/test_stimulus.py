"""The stimulus of the test vectors."""
import numpy as np

from experiments.firmware.emit.kinds import DOUBLE
from experiments.firmware.package.contents import firmware_of, protection_of, usual_inputs
from experiments.firmware.vectors.stimulus import Segment, Stimulus, congruential, extremes, law_stimulus, values
from experiments.rigs.rig import load_rig


def test_the_generator_is_the_printed_one() -> None:
    """x' = 1664525 x + 1013904223 modulo 2^32; from 0 it gives the words printed in Numerical Recipes (from memory)."""
    words = np.empty(4, np.uint32)
    congruential(0, words)
    assert [hex(word) for word in words.tolist()] == ["0x3c6ef35f", "0x47502932", "0xd1ccf6e9", "0xaaf95334"]


def test_values_stay_within_mean_swing_and_noise() -> None:
    """A triangle from −1 to 1 and noise of half its width either way."""
    out = values(Stimulus(("a",), (False,), (Segment(1000, 100, ((5.0, 2.0, 0.5),)),)))
    assert out.min() >= 2.75
    assert out.max() <= 7.25
    assert out.max() - out.min() > 4.0


def test_single_precision_has_its_own_values() -> None:
    """They are rounded on every step, and near the double's."""
    stimulus = law_stimulus(load_rig("wrist"), 4000)
    double, single = values(stimulus), values(stimulus, np.float32)
    assert single.dtype == np.float32
    assert np.allclose(double, single, rtol=1e-5, atol=1e-5)


def test_every_input_of_the_protection_goes_to_its_extremes() -> None:
    """Far below and far above what is usual."""
    rig = load_rig("cabinet")
    seen, usual = usual_inputs(rig, protection_of(rig, firmware_of(rig), DOUBLE))
    stimulus = extremes(seen, usual, 50, 100)
    out = values(stimulus)
    assert stimulus.names == seen._fields
    assert np.all(np.ptp(out, axis=0) > 0.0)
