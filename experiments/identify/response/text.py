"""A loop on measured data in words and as plain data."""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from experiments.identify.response.frequency_response import Response
from experiments.identify.response.measured_loop import MeasuredMargins

ROWS = 12
UNITS = {"crossover_Hz": "Hz", "phase_margin_deg": "°", "gain_margin_dB": "dB", "modulus_margin": ""}


class MeasuredLoop(NamedTuple):
    """A response, the margins of the loop on it, and its dead time."""

    response: Response
    margins: MeasuredMargins
    dead_time_s: tuple[float, float]


def measured_lines(found: MeasuredLoop) -> list[str]:
    """A table of the response, and of margins beside those of the twin."""
    response, dead = found.response, found.dead_time_s
    many = "s" if response.realisations > 1 else ""
    lines = [f"On measured data: {response.channel} at {response.level:.4g}, {len(response.gain)} lines, "
             f"{response.realisations} realisation{many} of {response.periods} periods",
             f"  {'Hz':>8}{'|gain|':>11}{'phase °':>10}{'± sd %':>9}{'coherence':>11}"]
    phase = np.degrees(np.unwrap(np.angle(response.gain)))
    for k in np.unique(np.linspace(0, len(phase) - 1, ROWS).astype(int)):
        size = abs(response.gain[k])
        lines.append(f"  {response.frequency_Hz[k]:>8.4g}{size:>11.4g}{phase[k]:>10.1f}"
                     f"{100.0 * response.total_sd[k] / size:>9.2g}{response.coherence[k]:>11.4f}")
    lines.append(f"  dead time {1e6 * dead[0]:.1f} ± {1e6 * dead[1]:.2g} µs beside the rig's twin")
    if response.realisations == 1:
        lines.append("  one realisation: its uncertainty is noise only, distortion is not told")
    lines += [f"  {'at ' + found.margins.at:<26}{'measured':>11}{'± sd':>10}{'twin':>11}"]
    for name, (value, sd) in found.margins.figures.items():
        lines.append(f"  {name:<26}{value:>11.4g}{sd:>10.2g}{found.margins.twin[name]:>11.4g}  {UNITS[name]}".rstrip())
    return lines


def measured_json(found: MeasuredLoop) -> dict[str, Any]:
    """The same as plain data, with every line of the response."""
    response = found.response
    return {
        "channel": response.channel, "level": response.level, "realisations": response.realisations,
        "periods": response.periods, "frequency_Hz": response.frequency_Hz.tolist(),
        "gain_real": response.gain.real.tolist(), "gain_imaginary": response.gain.imag.tolist(),
        "noise_sd": response.noise_sd.tolist(), "total_sd": response.total_sd.tolist(),
        "coherence": response.coherence.tolist(), "dead_time_s": {"value": found.dead_time_s[0],
                                                                  "sd": found.dead_time_s[1]},
        "at": found.margins.at,
        "margins": {name: {"value": value, "sd": sd, "twin": found.margins.twin[name]}
                    for name, (value, sd) in found.margins.figures.items()},
    }
