"""Small virtual benches that the tests share: a rig, what it would record, and the problem of finding it again."""
import functools

import numpy as np

from experiments.identify.excite.recipe import pieces_for
from experiments.identify.fit.choose import free_for
from experiments.identify.fit.problem import Problem
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.candidates import bench_of, free_of
from experiments.identify.replay.virtual import play
from experiments.rigs.rig import load_rig

RATE_Hz = 5000.0
PARTS = ("valve", "tube", "cuff", "transducer", "timing")


@functools.cache
def pieces(name, kinds=None):
    """Commands for a built-in rig; some kinds of them only."""
    return tuple(piece for piece in pieces_for(load_rig(name), PARTS, 300.0, RATE_Hz)
                 if kinds is None or piece.played in kinds)


def recorded(rig, played, seed=1):
    """What a rig records of the pieces."""
    found = []
    for i, piece in enumerate(played):
        channels = play(rig, piece.command, piece.period_s, seed=seed + 10 * i)
        noise = float(np.hypot(rig.plant.transducer.noise_mmHg, 400.0 / 2**16 / np.sqrt(12.0)))
        found.append(Recording(f"{piece.played}.csv", piece.played, piece.period_s, piece.command, channels,
                               {"reading_mmHg": noise}, periods=piece.periods))
    return found


def problem(name, recordings, parts=PARTS):
    """Find those parts of a built-in rig in recordings; its cuff's volume is held."""
    base = load_rig(name)
    return Problem(bench_of(base), free_for(base, parts), ((free_of(base, "cuff.volume_mL"), 2.5),), tuple(recordings))
