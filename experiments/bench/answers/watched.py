"""A search that can be left between its requests: what is no longer wanted should not be finished."""
from __future__ import annotations

from typing import NamedTuple

from calibrate.protocol import Instrument, Plan, Search
from experiments.work.progress import Watcher


class Watched(NamedTuple):
    """A search that tells somebody between its requests; what that one raises ends it."""

    own: Search
    tell: Watcher

    def search(self, instrument: Instrument) -> Plan:
        """The search's own plan."""
        plan = self.own.search(instrument)
        try:
            request = next(plan)
            while True:
                self.tell(0.0)
                request = plan.send((yield request))
        except StopIteration as end:
            return end.value  # type: ignore[no-any-return]
