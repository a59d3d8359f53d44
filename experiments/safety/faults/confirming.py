"""The confirmation of a set point in a run of failures: its probe on the orders, and its verdict for the protection.

A search that has just ended is followed by a confirmation (`calibrate/search/confirmation.py`); a failure that begins
later, in the clamp, may have to wait for the next one and is not credited with it.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Found, Instrument, Seen
from calibrate.search.confirmation import Confirmation
from calibrate.search.probing import probing_clamp
from controller.tick.firmware import CLAMP
from experiments.simulation.coupled import Orders
from experiments.simulation.protected import FAULT_CHANNELS
from experiments.simulation.session import orders_of

Samples = NDArray[np.float64]
ENTER_s = 0.6  # of clamp before the probe begins
COLUMN = {name: i for i, name in enumerate(FAULT_CHANNELS)}


class Confirming(NamedTuple):
    """A confirmation of the set point that a clamp begins with."""

    part: Confirmation
    instrument: Instrument
    found: Found
    first: int  # tick on which the probe begins
    look: int  # ticks of one look

    @classmethod
    def of(cls, orders: Orders, instrument: Instrument, part: Confirmation | None = None) -> Confirming:
        """That of the first clamp in the orders."""
        part = part or Confirmation()
        start = int(np.argmax(orders.mode == CLAMP))
        columns = (orders.set_point, orders.light_slope, orders.fill_mmHg)
        point, slope, fill = (float(column[start]) for column in columns)
        return cls(part, instrument, Found(point, slope, fill, 1.0), start + round(ENTER_s / instrument.period_s),
                   instrument.ticks(part.probe.sweep_s))

    @property
    def end(self) -> int:
        """Tick on which the verdict is there."""
        return self.first + self.part.looks * self.look

    def probed(self, orders: Orders) -> Orders:
        """The orders with the probe on their set point."""
        request = probing_clamp(self.part.probe, self.instrument, 0.0, 1.0, self.part.probe.sweep_mmHg, True)
        once = orders_of(request, self.look, self.instrument).set_point
        set_point = np.array(orders.set_point)
        set_point[self.first : self.end] += orders.light_slope[self.first : self.end] * np.tile(once, self.part.looks)
        return orders._replace(set_point=set_point)

    def denied(self, rows: Samples) -> bool:
        """What the confirmation says to the rows of FAULT_CHANNELS from its first tick to its end.

        A run that protection has taken out of the clamp meanwhile needs no verdict any more.
        """
        if np.any(rows[:, COLUMN["fallback"]] > 0.0):
            return False
        signals = [rows[:, COLUMN[name]] for name in ("light", "reading_mmHg", "command", "limited")]
        seen = [Seen(*(signal[k : k + self.look] for signal in signals)) for k in range(0, len(rows), self.look)]
        return self.part.judge(seen, self.instrument, self.found).astray
