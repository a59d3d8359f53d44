"""An account of a small identification, for what is told of it."""
import functools

from experiments.identify.fit.further import Further
from experiments.identify.fit.residual_tests import Leftover
from experiments.identify.fit.suspects import Suspect
from experiments.identify.outcome.account import Account
from experiments.identify.outcome.margins import margin_bands
from experiments.rigs.rig import read_rig
from tests.experiments.identify.benches import identified


@functools.cache
def account():
    """A cabinet that was explained."""
    found, _ = identified("cabinet")
    source = read_rig("cabinet")
    return Account(found, source, "found", margin_bands(found, source, count=6), (),
                   (Further("droop", 2.0, 1.5, "tube.diameter_mm", 0.6),), {"click.csv": "ab" * 32}, False)


def misfit(share=0.8, pull=0.0):
    """The same with play left over."""
    found = account().found
    left = Leftover("sweep.csv", "reading_mmHg", 1000, 25.0, 0.0, 0.0, 0.1, 0.9, False)
    return account()._replace(found=found._replace(leftovers=(left, *found.leftovers), pulls=(pull,)),
                              suspects=(Suspect("valve.hysteresis", "play between command and valve", share, 0.01),))
