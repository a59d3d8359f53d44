"""A virtual bench records with noise, in steps, clipped, the same each time."""
import numpy as np

from experiments.identify.replay.virtual import measured, play
from experiments.rigs.rig import load_rig
from plant.electronics.transducer import Transducer


def test_noise_steps_and_full_scale():
    transducer = Transducer(noise_mmHg=0.5, full_scale_mmHg=256.0, bits=8)
    found = measured(np.full(4000, 100.0), transducer, 1)
    assert np.array_equal(found, np.round(found)) and 0.5 < np.std(found) < 0.65
    assert np.max(measured(np.full(10, 400.0), transducer, 1)) == 256.0
    assert np.array_equal(measured(np.zeros(5), Transducer(noise_mmHg=0.0, bits=0), 1), np.zeros(5))


def test_the_same_seed_plays_the_same():
    rig = load_rig("cabinet")
    command = np.concatenate([np.zeros(50), np.full(200, 0.4)])
    once, again, other = (play(rig, command, 2e-4, ("reading_mmHg", "cuff_mmHg"), seed) for seed in (1, 1, 2))
    assert np.array_equal(once["cuff_mmHg"], again["cuff_mmHg"])
    assert not np.array_equal(once["cuff_mmHg"], other["cuff_mmHg"])
    assert 60.0 < once["cuff_mmHg"][-1] < 140.0
