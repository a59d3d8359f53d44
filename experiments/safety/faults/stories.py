"""Scenarios as a search for false alarms: minutes to hours of a finger with all protection and nothing wrong.

The set point is kept as a schedule that goes on looking keeps it: every few seconds what was true of the last ones
becomes known, and the set point moves there within the next; now and then the cuff is filled anew. Two scenarios are
not about people and may rightly alarm: a lamp makes the set point void, and an arm that is shut has no pulse.
"""
from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from controller.tick.firmware import CLAMP, FILL
from experiments.rigs.rig import Rig, clamp
from experiments.rigs.thresholds import thresholds
from experiments.safety.faults.fault import PHYSIOLOGY, Case, Fault
from experiments.safety.faults.trial import Outcome, set_point_of
from experiments.simulation.coupled import DIVERGED, RUNNING, Orders, closed_loop, no_commands
from experiments.simulation.failing import Stage, run_stage
from experiments.simulation.outcome import Limits, figures_of, first_actions, judge_of
from experiments.simulation.protected import protected_loop, protected_start, protection_of
from experiments.simulation.steps import protected_steps
from experiments.subjects.finger import Finger, on_finger
from plant.assembly import Inputs, Surroundings, initial_state
from plant.errors import InputError
from plant.finger.light import ambient_seen
from plant.scenarios.scenario import SCENARIOS, scenario_inputs

RIGHTLY = ("light", "occlusion")  # scenarios in which a warning is no false alarm
FILL_s, LOOK_s = 12.0, 10.0  # fill before a set point, until veins and wall are at rest; over which that is found
PIECE_s = 2.0  # of them, one look
BLOCK_s = 20.0


class Story(NamedTuple):
    """How long a scenario goes on, after how long a set point is known anew, and how often the cuff is filled anew."""

    seconds: float
    renew_s: float = 10.0
    refill_s: float = 300.0


def nothing_wrong(case: Case, severity: float) -> Case:
    """A scenario brings its own pressure, tone and light."""
    return case


def story_faults(story: Story) -> list[Fault]:
    """Every slow scenario as an entry of a study: nothing is injected, and nothing may trip, but for those in RIGHTLY.

    What happens within seconds is physiology of its own, begun at an onset.
    """
    return [
        Fault(f"scenario_{name}", "surroundings" if name in RIGHTLY else "person", scenario.about, nothing_wrong,
              duration_s=story.seconds, kind=PHYSIOLOGY)
        for name, scenario in SCENARIOS.items() if not scenario.sudden
    ]


def tell(rig: Rig, finger: Finger, name: str, story: Story, seed: int, limits: Limits) -> tuple[Outcome, float]:
    """Run one scenario to its end or to its first alarm: outcome and the time that it lasted [s].

    Raises InputError when the rig cannot clamp on this finger.
    """
    own, period = on_finger(rig, finger), rig.timing.period_s
    told = scenario_inputs(name, finger.pressure, finger.tone, finger.light.ambient, period, story.seconds, seed)
    inputs = Inputs(told.arterial_mmHg, told.tone, told.ambient)
    orders = story_orders(own, inputs, story)
    point = clamp(own, float(np.mean(inputs.arterial_mmHg)), float(np.mean(inputs.tone)))
    guards = thresholds(rig)
    usual, fine = protected_steps(own.plant, guards, point, rig.timing)
    safety = protection_of(guards, judge_of(own.plant, limits, 0), fine)
    system = protected_loop(closed_loop(own, usual), safety)
    state = protected_start(initial_state(own.plant, Surroundings(*(float(c[0]) for c in inputs))))
    pending = no_commands(system)
    ticks, block, status = len(orders.mode), round(BLOCK_s / period), RUNNING
    while state.tick < ticks and status == RUNNING and state.sums.display.detected_s < 0.0:
        stage = Stage(system, inputs, orders, min(state.tick + block, ticks))
        state, status, _ = run_stage(stage, seed, state, pending)
    outcome = Outcome(figures_of(state.sums), first_actions(state.sums), status == DIVERGED)
    return outcome, state.tick * period


def story_orders(rig: Rig, inputs: Inputs, story: Story) -> Orders:
    """Fill and clamp in turn; a clamp begins with the true set point of its first seconds and follows it late."""
    period = rig.timing.period_s
    ticks = len(inputs.arterial_mmHg) - 1
    mode = np.full(ticks, CLAMP, np.int64)
    fill, point, slope = np.zeros(ticks), np.zeros(ticks), np.ones(ticks)
    wait, renew, refill = (round(s / period) for s in (FILL_s, story.renew_s, story.refill_s))
    for start in range(0, ticks, refill):
        end = min(start + refill, ticks)
        first = min(start + wait, ticks - 1)
        begins = range(first, end, renew)
        known = [_true_point(rig, inputs, first, first + round(LOOK_s / period))] * 2
        known += [_true_point(rig, inputs, began, began + renew) for began in begins]
        at = [first + k * renew for k in range(len(known))]  # what a window shows is reached one window after its end
        here = np.arange(start, end)
        fill[start:end], point[start:end], slope[start:end] = (
            np.interp(here, at, values) for values in zip(*known, strict=True)
        )
        mode[start : min(start + wait, ticks)] = FILL
    return Orders(mode, fill, point, slope)


def _true_point(rig: Rig, inputs: Inputs, start: int, end: int) -> tuple[float, float, float]:
    """Cuff pressure to fill to [mmHg], set point and slope that are true of some ticks, in their ambient light.

    The mean of what looks of PIECE_s would see one after the other: where tone goes up and down in waves the light
    answers with the mean of its slopes, which is more than the slope at the mean tone.
    """
    pieces = max(round((end - start) * rig.timing.period_s / PIECE_s), 1)
    edges = np.linspace(start, min(end, len(inputs.arterial_mmHg) - 1), pieces + 1).astype(int)
    looks = [set_point_of(rig, inputs.part(int(a), max(int(b), int(a) + 1))) for a, b in pairwise(edges)]
    cuff, light, steep = (float(value) for value in np.mean(looks, axis=0))
    here, own = (float(ambient_seen(rig.plant.light, a)) for a in (inputs.ambient[start], rig.plant.light.ambient))
    return cuff, light + here - own, steep


def bounded_story(minutes: float) -> Story | None:
    """The story of so many minutes; None for 0. Raises InputError."""
    if minutes == 0.0:
        return None
    if not 1.0 <= minutes <= 600.0 or math.isnan(minutes):
        raise InputError(f"--stories {minutes:g} must be 0, or from 1 to 600 minutes")
    return Story(60.0 * minutes)
