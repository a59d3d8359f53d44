"""One study of word lengths, shared by the tests of what is made of it."""
from functools import cache

from experiments.design.rounding.study import Rounding, study
from experiments.rigs.rig import load_rig
from plant.pressure.synthetic import SyntheticPressure, synthesise


@cache
def wrist(seconds: float = 12.0) -> Rounding:
    """The near rig on synthetic pressure, five lengths."""
    rig = load_rig("wrist")
    trace = synthesise(SyntheticPressure(), rig.timing.period_s, seconds, 1)
    return study(rig, trace, [8, 12, 16, 24, 32])
