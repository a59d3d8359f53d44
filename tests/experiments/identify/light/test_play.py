"""What a virtual bench records of a light path."""
import numpy as np

from experiments.identify.light.play import PHANTOM, TOP_mmHg, light_pieces, play_light, sampled
from experiments.rigs.rig import load_rig
from tests.experiments.identify.light.lit import recorded


def test_lamp_and_ramp():
    """The lamp between ambient and the phantom's light; the ramp from nothing to its top, pulses in the light."""
    lamp, ramp = recorded()
    low, high = np.min(lamp.channels["light"]), np.max(lamp.channels["light"])
    assert abs(high - PHANTOM - 0.02) < 2e-3 and abs(low - 0.02) < 1e-3
    cuff, light = ramp.channels["reading_mmHg"], ramp.channels["light"]
    assert abs(np.max(cuff) - TOP_mmHg) < 0.2 and np.argmax(light) > np.argmax(cuff > 120.0)
    assert np.std(light[:5000]) > 1e-4


def test_the_same_seed_gives_the_same_bits():
    rig = load_rig("wrist")
    lamp = light_pieces()[0]
    one, again, other = (play_light(rig, lamp, seed)["light"] for seed in (1, 1, 2))
    assert np.array_equal(one, again) and not np.array_equal(one, other)


def test_a_sample_is_in_the_converters_steps_within_full_scale():
    rig = load_rig("wrist", ["light.bits=8", "light.noise=0.001"])
    found = sampled(rig, np.linspace(-0.1, 1.2, 500), np.random.default_rng(1))
    assert np.array_equal(found * 256.0, np.round(found * 256.0)) and found[0] == 0.0 and found[-1] == 1.0
