"""A small bench for light that the tests share: a rig with another finger, recorded, and found over the built-in."""
import functools

from experiments.identify.fit.problem import Problem
from experiments.identify.fit.study import identify
from experiments.identify.light.bench import TABLES, LightBench, prepared
from experiments.identify.light.play import light_pieces, play_light
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.candidates import free_of
from experiments.rigs.rig import load_rig

TRUE = {"light.bandwidth_Hz": 320.0, "light.transmission": 0.5, "artery.unloaded_mmHg": 9.0}
NOISE = {"light": 2e-5, "reading_mmHg": 0.02, "arterial_mmHg": 0.02}


@functools.cache
def recorded(*more):
    """What a rig with other light, and other settings, records."""
    rig = load_rig("wrist", [*(f"{name}={value}" for name, value in TRUE.items()), *more])
    made = []
    for piece in light_pieces():
        channels = play_light(rig, piece, 1)
        noise = {name: NOISE[name] for name in channels}
        made.append(Recording(f"{piece.played}.csv", piece.played, piece.period_s, piece.command, channels, noise))
    return tuple(made)


@functools.cache
def identified(*more):
    """The three numbers looked for over the built-in rig, by curvature."""
    base = load_rig("wrist")
    bench = LightBench(base)
    free = tuple(free_of(base, name, TABLES) for name in TRUE)
    return identify(Problem(bench, free, (), tuple(prepared(bench, recorded(*more)))), [], full=False, starts=1)
