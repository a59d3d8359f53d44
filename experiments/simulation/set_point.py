"""A rig finds its own set point on a pressure record: the search, and the truth beside it.

The record is played round and round, cut at the feet of its beats, for a search may take longer than a record lasts.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calibrate.protocol import Clamp, Failed, Found, Instrument, Request, Search
from calibrate.search.confirmation import Confirmation, Verdict
from experiments.rigs.rig import Rig, clamp, tone_share
from experiments.simulation.instrument import instrument_of
from experiments.simulation.session import COLUMN, Diverged, OutOfTime, Session
from experiments.simulation.simulate import Samples, mean_pressure
from experiments.simulation.steps import steps_a_tick
from plant.assembly import Inputs
from plant.declare import compiled
from plant.finger.artery import Artery, fast_share, static_compliance, unloaded_pressure
from plant.finger.light import Light, light_per_area
from plant.finger.tone import tone_samples
from plant.pressure.beats import detect_beats
from plant.pressure.record import PressureTrace

LONGEST_s = 60.0  # of a search; the searches give up by themselves before
AFTER_s = 2.0  # of clamp at the found set point, over which its error is read
CONFIRMING = "confirmation"  # purpose of its requests
Sessions = Callable[[Rig, Inputs, int, int], Session]  # rig on its finger, surroundings, seed, Runge–Kutta steps
ENTER_s = 1.0  # of clamp before that, after a search that does not end in a clamp: the set point's way in


@dataclass(frozen=True)
class Calibration:
    """What a search came to, what it cost, and what only the simulation knows."""

    outcome: Found | Failed
    error_mmHg: float  # mean transmural pressure less p0 in the clamp that follows; nan after a failure or divergence
    slope_ratio: float  # found light slope over the true one at mean pressure and resting tone; nan after a failure
    clamp_slope_ratio: float  # over the mean one in the clamp that follows, as it is then; nan like the error
    first_waveform_s: float  # from the empty cuff to the first waveform that is shown; nan where it never came
    search_s: float  # from the empty cuff to the outcome
    highest_mmHg: float  # of cuff pressure on the way
    first_clamp_s: float = math.nan  # to the first tick in the clamp, shown or not; nan where it never came
    confirmation: Verdict | None = None  # of the clamp after the error was read; None where none was asked or came

    @property
    def found(self) -> Found | None:
        """The set point, where there is one."""
        return self.outcome if isinstance(self.outcome, Found) else None


def calibrate(
    rig: Rig, trace: PressureTrace, search: Search, seed: int = 1, sessions: Sessions = Session
) -> Calibration:
    """Run a search and its confirmation on a rig, its own finger, and a record.

    `sessions` makes that in which it runs. Raises InputError when the rig cannot clamp there at all.
    """
    point = clamp(rig, mean_pressure(trace), rig.tone.level)
    instrument = instrument_of(rig)
    session = sessions(rig, record_inputs(rig, trace, instrument, seed), seed, steps_a_tick(rig, point))
    return find_set_point(session, instrument, search, point.light_slope, Confirmation())


def record_inputs(rig: Rig, trace: PressureTrace, instrument: Instrument, seed: int) -> Inputs:
    """Surroundings of a search on a record, played round as long as a search may take."""
    ticks = instrument.ticks(LONGEST_s)
    tone = tone_samples(rig.tone, ticks + 1, rig.timing.period_s, seed)
    return Inputs(looped(trace, ticks + 1), tone, np.full(ticks + 1, rig.plant.light.ambient))


def find_set_point(
    session: Session, instrument: Instrument, search: Search, true_slope: float,
    confirmation: Confirmation | None = None,
) -> Calibration:
    """Run a search in a session from an empty cuff, then a short clamp at what it found, then the confirmation, if any.

    `true_slope` is in 1/mmHg.
    """
    period_s = session.rig.timing.period_s
    outcome: Found | Failed
    try:
        outcome = session.follow(search.search(instrument), instrument)
    except Diverged:
        at = f"the run diverged at {session.state.tick * period_s:.2f} s"
        outcome = Failed("firmware ended", session.ended) if session.ended else Failed("clamp not held", at)
    except OutOfTime:
        outcome = Failed("timed out", f"no set point after {LONGEST_s:g} s")
    search_s = session.state.tick * period_s
    error, ratio, clamp_ratio = math.nan, math.nan, math.nan
    if isinstance(outcome, Found):
        ratio = outcome.light_slope / true_slope
        try:
            error, seen_slope = _truth(session, outcome, instrument)
            clamp_ratio = outcome.light_slope / seen_slope
        except Diverged:
            pass
        except OutOfTime:
            outcome = Failed("timed out", f"no set point in time for a clamp before {LONGEST_s:g} s")
            ratio = math.nan
    verdict = None
    if confirmation is not None and isinstance(outcome, Found) and math.isfinite(error):
        verdict = confirmed(session, instrument, outcome, confirmation)
    rows = session.rows
    shown, clamped = (first_s(session, which, instrument) for which in (is_shown, is_clamp))
    highest = float(np.max(rows[:, COLUMN["cuff_mmHg"]], initial=0.0))
    return Calibration(outcome, error, ratio, clamp_ratio, shown, search_s, highest, clamped, verdict)


def confirmed(session: Session, instrument: Instrument, found: Found, part: Confirmation) -> Verdict | None:
    """What the confirmation says of a set point, in the clamp; None when the run ends meanwhile."""
    plan = part.confirm(instrument, found)
    try:
        request = next(plan)
        while True:
            asked = request._replace(purpose=CONFIRMING) if isinstance(request, Clamp) else request
            request = plan.send(session.ask(asked, instrument))
    except StopIteration as end:
        verdict: Verdict = end.value
        return verdict
    except (Diverged, OutOfTime):
        return None


def confirmation_text(verdict: Verdict) -> str:
    """What a confirmation came to, in a line for people."""
    if verdict.astray:
        return f"the confirmation DENIES it: {verdict.why}"
    return (f"the confirmation agrees: vertex {verdict.off_mmHg:+.1f} ± {1.645 * verdict.sd_mmHg:.1f} mmHg away, "
            f"second harmonic {verdict.second:+.3f}, {100 * verdict.slope_share:.0f} % of the slope believed")


def is_clamp(request: Request) -> bool:
    """Whether a request clamps."""
    return isinstance(request, Clamp)


def is_shown(request: Request) -> bool:
    """Whether a request clamps with its waveform shown."""
    return isinstance(request, Clamp) and request.shown


def first_s(session: Session, which: Callable[[Request], bool], instrument: Instrument) -> float:
    """From the empty cuff to the first request of a kind that was run [s]; nan where there was none."""
    ticks = 0
    for request, rows in zip(session.requests, session.blocks, strict=True):
        if which(request):
            return ticks * instrument.period_s
        ticks += len(rows)
    return math.nan


def _truth(session: Session, found: Found, instrument: Instrument) -> tuple[float, float]:
    """Error of the set point [mmHg], and light per cuff pressure [1/mmHg], over a clamp at what was found."""
    if not (session.requests and isinstance(session.requests[-1], Clamp)):
        session.ask(Clamp(found.set_point, found.light_slope, ENTER_s, purpose="clamp"), instrument)
    first = session.state.tick
    session.ask(Clamp(found.set_point, found.light_slope, AFTER_s, purpose="judged"), instrument)
    tone: Samples = session.inputs.tone[first : session.state.tick]
    rows = session.blocks[-1]
    return transmural_error(rows, session.rig, tone), seen_slope(rows, session.rig, tone)


def transmural_error(rows: Samples, rig: Rig, tone: Samples) -> float:
    """Mean of transmural pressure less that of peak compliance [mmHg] over rows of channels."""
    transmural = rows[:, COLUMN["arterial_mmHg"]] - rows[:, COLUMN["external_mmHg"]]
    at_peak = np.asarray(unloaded_pressure(rig.plant.artery, tone[: len(rows)]))  # type: ignore[arg-type]
    return float(np.mean(transmural - at_peak))


def seen_slope(rows: Samples, rig: Rig, tone: Samples) -> float:
    """Light per cuff pressure [1/mmHg] as the loop sees it: of the wall's immediate share, mean over rows of channels.

    Each tick counts with its own transmural pressure, tone and blood, so the curvature around the set point is in it.
    """
    arterial, external, area, veins = (np.ascontiguousarray(rows[:, COLUMN[name]]) for name in
                                       ("arterial_mmHg", "external_mmHg", "area", "venous_volume"))
    slope = _mean_slope(rig.plant.artery, rig.plant.light, arterial, external, area, veins, tone)
    return rig.plant.tissue.transmission * float(slope) * tone_share(rig, float(np.mean(tone[: len(rows)])))


@compiled
def _mean_slope(
    artery: Artery, light: Light, arterial_mmHg: Samples, external_mmHg: Samples, area: Samples, veins: Samples,
    tone: Samples,
) -> float:
    """Mean light per external pressure [1/mmHg]."""
    total = 0.0
    for k in range(len(area)):
        compliance = static_compliance(artery, arterial_mmHg[k] - external_mmHg[k], tone[k])
        total += light_per_area(light, area[k], veins[k]) * compliance * fast_share(artery, tone[k])
    return total / len(area)


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
