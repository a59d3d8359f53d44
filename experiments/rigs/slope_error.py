"""How far a search's light slope, and so the loop gain, may be off on each built-in rig."""
from __future__ import annotations

from experiments.rigs.rig import Rig

SLOPE_ERRORS = {"wrist": 0.093, "cabinet": 0.18}
"""By how much the probing search may miss the light slope, as a share: what it stays below on 95 % of fingers, by rig.

|log(found / seen)|, `probing` on 60 fingers of seed 101, set points found on 60 and 58: median, 95 %, 99 %:
wrist 4.2 %, 8.9 %, 10.1 %; cabinet 6.1 %, 16.6 %, 21.1 % (there the slope found is 5.5 % above the one seen in the
median); x by logarithm is at most exp(x) − 1 of the gain.
`cuffloop search --fingers 60 --strategy probing --seed 101`, likewise with `cabinet`, shows the same.
Seen is light per cuff pressure by the wall's immediate share, mean over two seconds of clamp at the set point that was
found. 95 % rather than the worst, because a margin is worst on few fingers and at one end of the range: both at once
are rare.
"""


def usual_slope_error(rig: Rig) -> float:
    """What 95 % of probing searches stay below on the built-in rig beneath a rig."""
    return SLOPE_ERRORS[rig.base]
