"""What no recording of such channels can tell apart, however small its formal uncertainty comes out.

Second-order effects seem to fix these numbers, and a model that is off by a percent then moves them by ten: so they are
refused by what they are, not by what the fit says of them.
"""
from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

from experiments.identify.recording.recording import Recording
from experiments.rigs.rig import Rig
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.tube import NoTube


class Confounded(NamedTuple):
    """Numbers that cannot be told apart, why, and what would tell them."""

    names: tuple[str, ...]
    why: str
    cure: str


FLOWS = ("valve.conductance", "valve.bleed_conductance", "valve.outlet_resistance_mmHg_s_mL")
LAGS = ("valve.outlet_resistance_mmHg_s_mL", "transducer.bandwidth_Hz")
VOLUMES = ("cuff.volume_mL",)


def confounded(rig: Rig, free: Collection[str], recordings: Sequence[Recording]) -> list[Confounded]:
    """Every group of free numbers that these recordings cannot tell apart by their kind."""
    channels = {name for recording in recordings for name in recording.channels}
    played = {recording.played for recording in recordings}
    found = []
    volumes, flows = [n for n in VOLUMES if n in free], [n for n in FLOWS if n in free]
    if volumes and flows and "flow_mL_s" not in channels:
        found.append(Confounded((*volumes, *flows), "pressures tell ratios of flow to volume only",
                                "measure the volume and hold it (--known cuff.volume_mL=…), or record flow_mL_s"))
    if "valve.conductance" in free and "supply.pressure_mmHg" in free and not channels & {"supply_mmHg", "flow_mL_s"}:
        found.append(Confounded(("valve.conductance", "supply.pressure_mmHg"),
                                "choked flow is conductance times supply pressure",
                                "record supply_mmHg, or hold supply.pressure_mmHg"))
    if "cuff.leak_mL_s_mmHg" in free and "valve.bleed_conductance" in free and "leak_down" not in played:
        found.append(Confounded(("cuff.leak_mL_s_mmHg", "valve.bleed_conductance"),
                                "both let air out of the same place", "record leak_down, or hold one"))
    gains = [n for n in ("valve.range_mmHg", "supply.pressure_mmHg") if n in free]
    if "transducer.gain" in free and gains and not channels & {"node_mmHg", "cuff_mmHg"}:
        found.append(Confounded(("transducer.gain", *gains), "a reading scales with both",
                                "record a bench gauge (node_mmHg or cuff_mmHg), or hold one"))
    if rig.plant.cuff.gap_mm == 0.0:  # else the cuff's air shows its temperature, and which of the two it follows
        found += lags_in_series(rig, free, recordings)
    return found


def lags_in_series(rig: Rig, free: Collection[str], recordings: Sequence[Recording]) -> list[Confounded]:
    """Outlet resistance and transducer of a pressure valve that sits on the cuff, where nothing else is recorded."""
    channels = {name for recording in recordings for name in recording.channels}
    if isinstance(rig.plant.tube, NoTube) and isinstance(rig.plant.valve, PressureValve) \
            and set(LAGS) <= set(free) and not channels & {"node_mmHg", "cuff_mmHg", "flow_mL_s"}:
        return [Confounded(LAGS, "two lags in series, which may change places",
                           "record a bench gauge (cuff_mmHg), or hold one")]
    return []
