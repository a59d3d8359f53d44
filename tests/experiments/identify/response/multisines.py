"""Multisines that a virtual cabinet recorded, in several realisations."""
import functools

import numpy as np

from experiments.identify.excite.recipe import pieces_for
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.virtual import play
from experiments.rigs.rig import load_rig


@functools.cache
def played(count=4):
    """Realisations, each with phases and noise of its own."""
    rig, found = load_rig("cabinet"), []
    for seed in range(1, count + 1):
        (piece,) = pieces_for(rig, ("response",), 250.0, 2000.0, seed)
        found.append(Recording(f"{seed}.csv", piece.played, piece.period_s, piece.command,
                               play(rig, piece.command, piece.period_s, seed=seed), {"reading_mmHg": 0.02},
                               periods=piece.periods))
    return tuple(found)


def filtered(seed=1, noise=0.0, cubic=0.0):
    """A multisine through a first-order lag that holds its input, with its exact answer; and that lag's rate [1/s]."""
    from experiments.identify.excite.shapes import multisine, multisine_lines

    period_s, rate = 1e-3, 60.0
    command = multisine(multisine_lines(2.0, 200.0, 30), 2.0, 6, period_s, seed)
    answer, state = np.zeros(len(command)), 0.0
    decay = np.exp(-rate * period_s)
    for k, u in enumerate(command):
        answer[k] = state
        state = decay * state + (1.0 - decay) * u
    answer = answer + cubic * answer**3 + noise * np.random.default_rng(seed).standard_normal(len(answer))
    return Recording(f"{seed}", "multisine", period_s, command, {"reading_mmHg": 100.0 * answer},
                     {"reading_mmHg": 1.0}, periods=6), rate
