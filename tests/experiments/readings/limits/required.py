"""One answer for the tests of how it is told."""
from functools import lru_cache

from experiments.readings.limits.solve import Wanted
from experiments.readings.limits.study import Required, required
from experiments.rigs.rig import load_rig


@lru_cache(maxsize=1)
def one_answer() -> Required:
    """Of the wrist rig with limits of every kind."""
    return required(load_rig("wrist"), Wanted(5.0, 2.0, variation_percent=0.5), 90.0)
