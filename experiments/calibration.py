"""A rig finds its own set point on a pressure record: the search, and the truth beside it.

The record is played round and round, cut at the feet of its beats, for a search may take longer than a record lasts.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibrate.protocol import Clamp, Failed, Found, Instrument, Search
from controller.firmware import CLAMP
from experiments.beats import detect_beats
from experiments.coupled import Inputs
from experiments.instrument import instrument_of
from experiments.rig import Rig, clamp
from experiments.session import COLUMN, Diverged, OutOfTime, Session
from experiments.simulate import Samples, mean_pressure
from experiments.steps import steps_a_tick
from plant.artery import unloaded_pressure
from plant.pressure_record import PressureTrace
from plant.tone import tone_samples

LONGEST_s = 60.0  # of a search; the searches give up by themselves before
AFTER_s = 2.0  # of clamp at the found set point, over which its error is read
ENTER_s = 1.0  # of clamp before that: the set point's way in


@dataclass(frozen=True)
class Calibration:
    """What a search came to, what it cost, and what only the simulation knows."""

    outcome: Found | Failed
    error_mmHg: float  # mean transmural pressure less p0 in the clamp that follows; nan after a failure
    slope_ratio: float  # found light slope over the true one; nan after a failure
    first_waveform_s: float  # from the empty cuff to the clamp; nan where it never came
    search_s: float  # from the empty cuff to the outcome
    highest_mmHg: float  # of cuff pressure on the way

    @property
    def found(self) -> Found | None:
        """The set point, where there is one."""
        return self.outcome if isinstance(self.outcome, Found) else None


def calibrate(rig: Rig, trace: PressureTrace, search: Search, seed: int = 1) -> Calibration:
    """Run a search on a rig, its own finger, and a record. Raises InputError when the rig cannot clamp there at all."""
    point = clamp(rig, mean_pressure(trace), rig.tone.level)
    instrument = instrument_of(rig)
    ticks = instrument.ticks(LONGEST_s)
    tone = tone_samples(rig.tone, ticks + 1, rig.timing.period_s, seed)
    inputs = Inputs(looped(trace, ticks + 1), tone, np.full(ticks + 1, rig.plant.light.ambient))
    session = Session(rig, inputs, seed, steps_a_tick(rig, point))
    outcome: Found | Failed
    try:
        outcome = session.follow(search.search(instrument), instrument)
    except Diverged:
        outcome = Failed("clamp not held", f"the run diverged at {session.state.tick * rig.timing.period_s:.2f} s")
    except OutOfTime:
        outcome = Failed("timed out", f"no set point after {LONGEST_s:g} s")
    search_s = session.state.tick * rig.timing.period_s
    error, ratio = _truth(session, outcome, instrument)
    rows = np.concatenate(session.blocks)
    clamped = np.nonzero(rows[:, COLUMN["mode"]] == CLAMP)[0]
    first = float(clamped[0]) * rig.timing.period_s if len(clamped) else float("nan")
    return Calibration(outcome, error, ratio / point.light_slope, first, search_s, float(np.max(rows[:, 1])))


def _truth(session: Session, outcome: Found | Failed, instrument: Instrument) -> tuple[float, float]:
    """(error of the set point [mmHg], light slope found [1/mmHg]) over a stretch of clamp at what was found."""
    if isinstance(outcome, Failed):
        return float("nan"), float("nan")
    try:
        session.ask(Clamp(outcome.set_point, outcome.light_slope, ENTER_s), instrument)
        first = session.state.tick
        session.ask(Clamp(outcome.set_point, outcome.light_slope, AFTER_s), instrument)
    except OutOfTime:
        return float("nan"), outcome.light_slope
    tone: Samples = session.inputs.tone[first : session.state.tick]
    return transmural_error(session.blocks[-1], session.rig, tone), outcome.light_slope


def transmural_error(rows: Samples, rig: Rig, tone: Samples) -> float:
    """Mean of transmural pressure less that of peak compliance [mmHg] over rows of channels."""
    transmural = rows[:, COLUMN["arterial_mmHg"]] - rows[:, COLUMN["external_mmHg"]]
    at_peak = np.asarray(unloaded_pressure(rig.plant.artery, tone[: len(rows)]))  # type: ignore[arg-type]
    return float(np.mean(transmural - at_peak))


def looped(trace: PressureTrace, samples: int) -> Samples:
    """A record played round and round from the foot of its first beat to that of its last, in so many samples.

    The feet are brought to one level by a straight line, so that no step is left at the seam.
    """
    pressure = trace.pressure_mmHg
    feet = detect_beats(pressure, trace.period_s)
    if len(feet) >= 3:
        pressure = pressure[feet[0] : feet[-1]]
        rise = trace.pressure_mmHg[feet[-1]] - trace.pressure_mmHg[feet[0]]
        pressure = pressure - rise * np.linspace(-0.5, 0.5, len(pressure))
    return np.ascontiguousarray(np.resize(pressure, samples))
