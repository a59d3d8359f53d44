"""Identifier and rationale of each requirement; a requirements file may give its own, as `id` and `rationale`."""
from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from experiments.rigs.requirements import TEXTS, Verdict
from experiments.rigs.rig import read_toml


class About(NamedTuple):
    """A requirement's identifier and why it is there."""

    identifier: str
    rationale: str


_PARTS = "valve, tube, cuff and finger vary, and the loop must stay stable"
_FOLLOWS = "what is shown is cuff pressure: its distance from the ideal is the error of the reading"
_BEAT = "systolic, mean and diastolic pressure are what people read off"
_ACTIVE = "a valve that never rests wears, heats, and has no command left for the pulse"
ABOUT: dict[str, About] = {
    "gain_margin_dB": About("RQ01", _PARTS),
    "gain_reduction_margin_dB": About("RQ02", _PARTS),
    "phase_margin_deg": About("RQ03", _PARTS),
    "delay_margin_s": About("RQ04", "late ticks and slow converters add delay"),
    "delay_margin_ticks": About("RQ05", "late ticks and slow converters add delay"),
    "modulus_margin": About("RQ06", "distance from instability whatever varies; its inverse amplifies disturbances"),
    "sensitivity_peak": About("RQ07", "disturbances near the crossover are amplified by it"),
    "crossover_Hz": About("RQ08", "a loop too slow does not follow a pulse"),
    "bandwidth_Hz": About("RQ09", "a loop too slow does not follow a pulse"),
    "set_point_error_mmHg": About("RQ10", "an error of the set point is an error of every reading after it"),
    "first_waveform_s": About("RQ11", "somebody waits for it"),
    "search_s": About("RQ12", "somebody waits for it"),
    "rms_error_mmHg": About("RQ13", _FOLLOWS),
    "peak_error_mmHg": About("RQ14", _FOLLOWS),
    "bias_mmHg": About("RQ15", _FOLLOWS),
    "beat_systolic_error_mmHg": About("RQ16", _BEAT),
    "beat_systolic_error_percent": About("RQ17", _BEAT),
    "beat_mean_error_mmHg": About("RQ18", _BEAT),
    "beat_diastolic_error_mmHg": About("RQ19", _BEAT),
    "saturation_share": About("RQ20", "at a limit of the valve the loop is open"),
    "command_noise_rms": About("RQ22", _ACTIVE),
    "command_pulse_rms": About("RQ23", _ACTIVE),
    "command_step_sd": About("RQ24", _ACTIVE),
    "command_limit_share": About("RQ25", "at a limit of the valve the loop is open"),
    "cuff_mmHg": About("RQ21", "a finger must stand it; IEC 80601-2-30 by analogy, from memory"),
}


def identifier_of(verdict: Verdict, own: dict[str, About] | None = None) -> str:
    """Identifier of one limit of a requirement: that of the figure, and of the limit where a figure has two."""
    about = (own or {}).get(verdict.figure) or ABOUT.get(verdict.figure)
    base = about.identifier if about and about.identifier else verdict.figure
    return f"{base}.{verdict.limit.removesuffix('_max')}" if "_" in verdict.limit else base


def rationale_of(verdict: Verdict, own: dict[str, About] | None = None) -> str:
    """Why a requirement is there: the file's own words, or ours."""
    mine, ours = (own or {}).get(verdict.figure), ABOUT.get(verdict.figure)
    return (mine.rationale if mine else "") or (ours.rationale if ours else "")


def own_about(path: Path) -> dict[str, About]:
    """Identifiers and rationales that a requirements file gives itself; a text that is missing is empty."""
    table = {figure: limits for figure, limits in read_toml(path).items() if isinstance(limits, dict)}
    return {figure: About(*(str(limits.get(key, "")) for key in TEXTS))
            for figure, limits in table.items() if any(key in limits for key in TEXTS)}
