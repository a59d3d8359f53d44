"""What a rig's firmware knows of its own hardware: worked out from the rig as designed, on its own nominal finger."""
from __future__ import annotations

import numpy as np

from calibrate.protocol import Hold, Instrument
from calibrate.search.staircase import fill_rise_s
from experiments.rigs.rig import NOMINAL_mmHg, Rig, clamp, probe_Hz
from experiments.simulation.session import Diverged, Session
from experiments.simulation.steps import steps_a_tick
from plant.assembly import Inputs
from plant.operating_point import plant_twin

FIRST_FILL_mmHg, FILL_s = 40.0, 2.0
LOOSE_SLACK = 0.42  # extra bladder volume beyond which a wrap is too loose, share of the nominal (invented)
HIGHEST_mmHg = 240.0  # asked of a cuff in a search; common practice keeps finger cuffs below about 300 (from memory)


def instrument_of(rig: Rig, highest_mmHg: float = HIGHEST_mmHg) -> Instrument:
    """The instrument of a rig: probing frequency at its design crossover, and how its first fill should go.

    Raises InputError when the rig cannot clamp at a nominal pressure.
    """
    point = clamp(rig, NOMINAL_mmHg, rig.tone.level)
    period = rig.timing.period_s
    probe = probe_Hz(rig)
    twin = plant_twin(rig.plant, point)
    s = 2j * np.pi * probe
    states = np.linalg.solve(s * np.eye(len(twin.a)) - twin.a, twin.b[:, [twin.inputs.index("command")]])
    answer = twin.c @ states
    light, reading = (complex(answer[twin.outputs.index(name), 0]) for name in ("light", "reading"))
    light_step = 2.0**-rig.plant.light.bits if rig.plant.light.bits > 0 else 0.0
    rise = first_rise_s(rig)
    return Instrument(
        period, highest_mmHg, light_step, rise, probe, light / reading / point.light_slope,
        first_rise_s(rig, LOOSE_SLACK) / rise,
    )


def first_rise_s(rig: Rig, slack: float = 0.0) -> float:
    """63 % rise time [s] of the first fill, from empty to the first step, of the rig's own cuff or of one with slack.

    slack: extra bladder volume of the wrap, share of the nominal volume.
    """
    cuff = rig.plant.cuff
    rig = rig._replace(plant=rig.plant._replace(cuff=cuff._replace(volume_mL=cuff.volume_mL * (1.0 + slack))))
    point = clamp(rig, NOMINAL_mmHg, rig.tone.level)
    bare = Instrument(rig.timing.period_s, HIGHEST_mmHg, 0.0, 0.0, 1.0, 1.0)
    count = bare.ticks(FILL_s) + 1
    steady = Inputs(np.full(count, NOMINAL_mmHg), np.full(count, rig.tone.level), np.zeros(count))
    try:
        seen = Session(rig, steady, 1, steps_a_tick(rig, point)).ask(Hold(FIRST_FILL_mmHg, FILL_s), bare)
    except Diverged:  # a search on this rig will say so
        return FILL_s
    return fill_rise_s(seen.reading_mmHg, FIRST_FILL_mmHg, rig.timing.period_s)
