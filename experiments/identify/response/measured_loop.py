"""Margins with what was measured in place of the twin of valve, line, cuff and transducer.

The rest of the loop, finger, light and controller, is the rig's: L = L_twin · G_measured/G_twin at the lines that were
played, in between by straight lines of logarithmic gain and of phase. The band comes from draws of the response within
its uncertainty.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.corrected import Correction
from controller.margins.crossings import loop_at
from controller.margins.loop import Loop, sampled
from experiments.check.judged import Judged, judge_loops
from experiments.identify.response.frequency_response import Response
from experiments.rigs.rig import Rig, clamp
from plant.errors import InputError
from plant.operating_point import plant_twin

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]
FINE_POINTS, DRAWS = 2000, 200
USUAL_mmHg, LOWEST_mmHg, HIGHEST_mmHg = 90.0, 20.0, 300.0


class MeasuredMargins(NamedTuple):
    """Margins of a loop on a measured response, with standard uncertainties; the twin's beside."""

    at: str  # operating point and side
    figures: dict[str, tuple[float, float]]  # value, sd
    twin: dict[str, float]


def twin_gain(loop: Loop, channel: str, frequency_Hz: Samples) -> Complex:
    """The twin's gain from a continuous command, dead time and all, to the channel."""
    outputs = {"reading_mmHg": "reading", "cuff_mmHg": "cuff_pressure", "node_mmHg": "node_pressure"}
    if channel not in outputs:
        raise InputError(f"channel {channel}: use one of {', '.join(outputs)}")
    omega = 2.0 * np.pi * np.asarray(frequency_Hz, float)
    twin = plant_twin(loop.plant, loop.point, loop.side)
    return np.asarray(twin.response(outputs[channel], "command", omega) * np.exp(-1j * omega * loop.timing.dead_time_s))


def figures_at(frequency_Hz: Samples, loop: Complex) -> dict[str, float]:
    """Crossover, phase, gain and modulus margin of a loop that is given on a fine grid."""
    size, phase = np.abs(loop), np.unwrap(np.angle(loop))
    phase -= 2.0 * np.pi * np.round((phase[0] + np.pi / 2.0) / (2.0 * np.pi))
    found = {"crossover_Hz": math.nan, "phase_margin_deg": math.inf, "gain_margin_dB": math.inf,
             "modulus_margin": float(np.min(np.abs(1.0 + loop)))}
    falls = np.flatnonzero((size[:-1] >= 1.0) & (size[1:] < 1.0))
    if len(falls):
        k = int(falls[0])
        share = np.log(size[k]) / np.log(size[k] / size[k + 1])
        found["crossover_Hz"] = float(frequency_Hz[k] * (frequency_Hz[k + 1] / frequency_Hz[k]) ** share)
        found["phase_margin_deg"] = float(np.degrees(phase[k] + share * (phase[k + 1] - phase[k])) + 180.0)
    turns = np.flatnonzero((phase[:-1] > -np.pi) & (phase[1:] <= -np.pi))
    if len(turns):
        k = int(turns[0])
        share = (phase[k] + np.pi) / (phase[k] - phase[k + 1])
        found["gain_margin_dB"] = float(-20.0 * np.log10(size[k] * (size[k + 1] / size[k]) ** share))
    return found


def side_played(rig: Rig, response: Response) -> Judged:
    """The loop at the pressure and on the side of the valve that the response was measured at. Raises InputError."""
    usual = clamp(rig, USUAL_mmHg, rig.tone.level)
    arterial = USUAL_mmHg + (response.level - usual.state.cuff_mmHg) * rig.plant.tissue.transmission
    if not LOWEST_mmHg <= arterial <= HIGHEST_mmHg:
        raise InputError(f"the response was measured at {response.level:.4g} mmHg, where no finger is clamped")
    loops = judge_loops(rig, {f"{arterial:.4g} mmHg": arterial})
    inside = response.frequency_Hz < 0.98 * 0.5 / rig.timing.period_s
    return min(loops, key=lambda one: float(np.median(np.abs(np.log(np.abs(
        response.gain[inside] / twin_gain(one.loop, response.channel, response.frequency_Hz[inside])))))))


def dead_time(rig: Rig, response: Response) -> tuple[float, float]:
    """Dead time [s] and its SD: what is left of the phase beside the twin without any (weighted least squares)."""
    loop = side_played(rig, response).loop
    own = twin_gain(loop._replace(timing=loop.timing._replace(dead_time_s=0.0)), response.channel,
                    response.frequency_Hz)
    phase = np.unwrap(np.angle(response.gain / own))
    phase -= 2.0 * np.pi * np.round(phase[0] / (2.0 * np.pi))
    omega = 2.0 * np.pi * response.frequency_Hz
    weight = (np.abs(response.gain) / response.total_sd) ** 2 * 2.0
    information = float(np.sum(weight * omega * omega))
    return -float(np.sum(weight * omega * phase)) / information, 1.0 / math.sqrt(information)


def correction_of(rig: Rig, response: Response, seed: int | None = None) -> Correction:
    """What a response found beside the twin at the lines below half the tick rate, where it was measured.

    With a `seed` a draw of it within its uncertainty. Raises InputError.
    """
    inside = response.frequency_Hz < 0.98 * 0.5 / rig.timing.period_s
    lines = response.frequency_Hz[inside]
    if len(lines) < 5:
        raise InputError("too few lines below half the tick rate to close a loop on")
    loop = side_played(rig, response).loop
    ratio = response.gain[inside] / twin_gain(loop, response.channel, lines)
    sd = response.total_sd[inside] / np.abs(response.gain[inside])
    noise = np.zeros((2, len(lines)))
    if seed is not None:
        random = np.random.Generator(np.random.PCG64([seed, len(lines)]))
        noise = random.standard_normal((2, len(lines))) * sd * math.sqrt(0.5)
    turn = np.unwrap(np.angle(ratio))
    turn -= 2.0 * np.pi * np.round(turn[0] / (2.0 * np.pi))
    return Correction(2.0 * np.pi * lines, np.log(np.abs(ratio)) + noise[0], turn + noise[1])


def measured_margins(rig: Rig, response: Response, seed: int = 1) -> MeasuredMargins:
    """Margins of the side of a rig that was played on, its pneumatics as measured. Raises InputError."""
    nyquist = 0.5 / rig.timing.period_s
    inside = response.frequency_Hz < 0.98 * nyquist
    lines = response.frequency_Hz[inside]
    if len(lines) < 5:
        raise InputError("too few lines below half the tick rate to close a loop on")
    judged = side_played(rig, response)
    loop = judged.loop
    fine = np.geomspace(lines[0], lines[-1], FINE_POINTS)
    bare = np.array([loop_at(sampled(loop), loop.coefficients, 2.0 * np.pi * f) for f in fine])
    ratio = response.gain[inside] / twin_gain(loop, response.channel, lines)
    sd = response.total_sd[inside] / np.abs(response.gain[inside])
    random = np.random.Generator(np.random.PCG64(seed))
    drawn = []
    for k in range(DRAWS + 1):
        noise = random.standard_normal((2, len(lines))) * sd * math.sqrt(0.5) if k else np.zeros((2, len(lines)))
        own = np.log(np.abs(ratio)) + noise[0]
        turn = np.unwrap(np.angle(ratio)) + noise[1]
        between = np.exp(np.interp(np.log(fine), np.log(lines), own)
                         + 1j * np.interp(np.log(fine), np.log(lines), turn))
        drawn.append(figures_at(fine, bare * between))
    table = {name: np.array([one[name] for one in drawn]) for name in drawn[0]}
    return MeasuredMargins(judged.name, {name: (float(values[0]), _sd(values[1:])) for name, values in table.items()},
                           figures_at(fine, bare))


def _sd(values: Samples) -> float:
    sure = values[np.isfinite(values)]
    return float(np.std(sure, ddof=1)) if len(sure) > 1 else math.nan
