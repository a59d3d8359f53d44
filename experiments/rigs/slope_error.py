"""How far a search's light slope, and so the loop gain, may be off on each built-in rig."""
from __future__ import annotations

from experiments.rigs.rig import Rig

SLOPE_ERRORS = {"wrist": 0.055, "cabinet": 0.102}
"""By how much the probing search may miss the light slope, as a share: what it stays below on 95 % of fingers, by rig.

|log(found / seen)|: median, 95 %, 99 %; x by logarithm is at most exp(x) − 1 of the gain:
`cuffloop search --fingers 1000 --strategy probing --seed 101`: 1.8 %, 5.4 %, 7.0 %
`cuffloop search cabinet --fingers 300 --strategy probing --seed 101`: 2.9 %, 9.7 %, 12.9 %
Seen is light per cuff pressure by the wall's immediate share, mean over two seconds of clamp at the set point that was
found. 95 % rather than the worst, because a margin is worst on few fingers and at one end of the range: both at once
are rare.
"""


def usual_slope_error(rig: Rig) -> float:
    """What 95 % of probing searches stay below on the built-in rig beneath a rig."""
    return SLOPE_ERRORS[rig.base]
