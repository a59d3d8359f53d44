"""The schedule that asks first: a confirmation after each search and from time to time, and wide looks where it denies.

A confirmation is shown (`calibrate/search/confirmation.py`), so that nothing is lost while the set point is right; only
a set point that was denied costs waveform, some wide looks in the clamp or, where they do not help, a whole search.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from calibrate.protocol import Failed, Instrument, Search
from calibrate.schedule.recalibration import set_point_move_mmHg
from calibrate.schedule.schedule import Diary, Program, find, keep_time, quiet_clamp, timed
from calibrate.search.confirmation import Confirmation
from calibrate.search.probing_search import ProbingSearch
from calibrate.search.track import Track
from plant.declare import group, quantity

PIECE_s = 5.0  # of clamp in one request
SHOWN_LOOKS = 2


class ConfirmedSetPoint(NamedTuple):
    """Parameters of the schedule."""

    every_s: Annotated[float, quantity("s", 5, 86400, "clamp between two confirmations", "invented")] = 50.0
    denials: Annotated[int, quantity("1", 1, 20, "denials in a row before a whole search", "invented")] = 2
    confirmation: Annotated[Confirmation, group("how it is confirmed")] = Confirmation()

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """Confirm, then clamp for a while, by turns."""
        why = "start"
        while True:
            found = yield from find(instrument, search, diary, why)
            if isinstance(found, Failed):
                return found
            denied = 0
            while denied < self.denials:
                verdict = yield from keep_time(self.confirmation.confirm(instrument, found), instrument, diary)
                if not verdict.astray:
                    denied, seconds = 0, 0.0
                    while seconds < self.every_s:
                        yield from timed(quiet_clamp(found, PIECE_s), instrument, diary)
                        seconds += PIECE_s
                    continue
                denied, why = denied + 1, verdict.why
                doubted = Track.unsure(-math.log(found.set_point), found.light_slope / found.set_point,
                                       found.width_mmHg, found.skew, found.sd_mmHg)
                looks = ProbingSearch().refine(instrument, doubted, SHOWN_LOOKS)
                again = yield from keep_time(looks, instrument, diary)
                if isinstance(again, Failed):
                    why = again.message
                    break
                diary.note("recalibration", set_point_move_mmHg(found, again), why)
                found = again
