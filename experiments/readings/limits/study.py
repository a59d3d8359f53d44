"""Both ways at once: what limits on readings ask of a loop, and what a rig's readings are worth."""
from __future__ import annotations

import math
from typing import NamedTuple

from experiments.readings.limits.propagate import changes, differences, worst
from experiments.readings.limits.rig_loop import RigLoop, rig_loop
from experiments.readings.limits.solve import Needed, Wanted, most_gap_share, needed, smallest_pulse_mmHg
from experiments.readings.limits.waves import Waves, shipped_waves
from experiments.readings.output.variation import floor_percent
from experiments.rigs.rig import Rig

GAP_s = 5.0  # of a search that interrupts (invented; calibrate's own are 3–7 s)
USUAL_LEVEL_mmHg = 2.0  # SD of a found set point


class Worth(NamedTuple):
    """What a rig does to readings, that 95 % of people keep in each of their states, and whether a limit is kept."""

    reading: str
    unit: str
    by_loop: float
    by_level: float  # of a set point that is 1.645 SD off
    limit: float  # nan: none was given

    @property
    def kept(self) -> bool | None:
        """Whether both together are within the limit; None without one."""
        if math.isnan(self.limit):
            return None
        return self.by_loop + self.by_level <= self.limit


class Required(NamedTuple):
    """The answer."""

    rig: str
    wanted: Wanted
    rows: list[Needed]
    loop: RigLoop
    worth: list[Worth]
    floor_percent: float  # of variation, by the rig's noise
    gap_share: float  # largest share of time for gaps of GAP_s; nan without a limit on variation
    level_sd_mmHg: float


def required(rig: Rig, wanted: Wanted, mean_mmHg: float, level_sd_mmHg: float = USUAL_LEVEL_mmHg,
             waves: Waves | None = None) -> Required:
    """Solve both ways at a mean pressure. Raises InputError."""
    people = shipped_waves() if waves is None else waves
    rows, loop = needed(people, wanted), rig_loop(rig, mean_mmHg)
    by_loop = worst(people, differences(people.pressure_mmHg(), loop.followed_mmHg(people)))
    level = 1.645 * level_sd_mmHg
    lower, higher = (worst(people, changes(people, level_mmHg=sign * level)) for sign in (-1.0, 1.0))
    by_level = {name: max(lower[name], higher[name]) for name in by_loop}
    units = {"systolic": "mmHg", "diastolic": "mmHg", "mean": "mmHg", "pulse": "%", "output": "%"}
    worth = [Worth(name, units[name], by_loop[name], by_level[name] if name != "pulse" else 0.0,
                   wanted.limits.get(name, math.nan)) for name in units]
    floor = floor_percent(math.sqrt(2.0) * loop.noise_mmHg / smallest_pulse_mmHg(people), 4.0)
    share = math.nan
    if math.isfinite(wanted.variation_percent):
        share = most_gap_share(wanted.window_s, wanted.availability, GAP_s)
    return Required(rig.name, wanted, rows, loop, worth, floor, share, level_sd_mmHg)
