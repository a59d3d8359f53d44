"""Small virtual benches that the tests share: a rig, what it would record, and the problem of finding it again."""
import functools

import numpy as np

from experiments.identify.excite.recipe import pieces_for
from experiments.identify.fit.choose import free_for
from experiments.identify.fit.problem import Problem
from experiments.identify.fit.study import Held, identify
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.candidates import bench_of, free_of
from experiments.identify.replay.virtual import play
from experiments.rigs.rig import load_rig

RATE_Hz = 2000.0
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


@functools.cache
def identified(name="cabinet", kinds=("click", "vent_down"), off=0.0, full=False):
    """A built-in rig with other numbers, recorded and identified over the built-in one; and those numbers by name.

    `off` is by how many standard uncertainties the measured volume is wrong.
    """
    true = {"cabinet": {"valve.natural_frequency_Hz": 118.0, "transducer.bandwidth_Hz": 215.0, "cuff.volume_mL": 2.6},
            "wrist": {"valve.natural_frequency_Hz": 300.0, "valve.dead_band": 0.026, "cuff.volume_mL": 2.6}}[name]
    truth = load_rig(name, [f"{key}={value}" for key, value in true.items()])
    made = problem(name, recorded(truth, pieces(name, kinds)))
    volume = 2.6 * (1.0 + 0.02 * off)
    anchor = free_of(load_rig(name), "cuff.volume_mL")
    made = made._replace(known=((anchor, volume),))
    return identify(made, [Held(anchor, volume, 0.02 * 2.6, False)], full=full), true
