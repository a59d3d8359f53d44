"""Picture of a rig's word lengths: noise, where it comes from, blind errors, and changed margins."""
from __future__ import annotations

from typing import Any

import numpy as np

from controller.fixed.noise import PLACES
from experiments.design.rounding.study import MODULUS_CHANGE, NOISE_SHARE, PHASE_CHANGE_deg, Rounding
from experiments.work.style import AMBER, BLUE, GREEN, GREY, ORANGE, SKY, VIOLET, new_figure, stamp, tidy

COLOURS = dict(zip(PLACES, (BLUE, ORANGE, GREEN, VIOLET, AMBER), strict=True))
MARKS = dict(zip(PLACES, "os^Dv", strict=True))
NAMES = {"error": "error", "lead": "behind the lead", "notch": "behind the notch", "rate": "derivative",
         "demand": "demand"}
NOTHING = 1e-12


def rounding_figure(found: Rounding) -> Any:
    """Four panels over the word length."""
    figure = new_figure(12.0, 8.4)
    (noise, places), (blind, margins) = figure.subplots(2, 2, sharex=True)
    bits = np.array([one.words for one in found.lengths])
    _noise(noise, found, bits)
    _places(places, found, bits)
    _blind(blind, found, bits)
    _margins(margins, found, bits)
    for axes in (noise, places, blind, margins):
        axes.xaxis.get_major_locator().set_params(integer=True)
        axes.set_yscale("log")
        if found.recommended is not None:
            axes.axvline(found.recommended, color=GREY, linewidth=1.0, linestyle=(0, (1, 2)))
    least = min(min(one.modulus_change, one.phase_change_deg) for one in found.lengths)
    margins.set_ylim(0.3 * max(least, NOTHING), 300.0)  # room for the legend
    title = "no length is long enough" if found.recommended is None else f"{found.recommended} bits are recommended"
    figure.suptitle(f"{found.rig.name} on {found.record}: the law in words of so many bits; {title}", fontsize=12)
    stamp(figure)
    return figure


def _noise(axes: Any, found: Rounding, bits: Any) -> None:
    measured = [one.added_mmHg for one in found.lengths]
    axes.plot(bits, measured, "o-", color=BLUE, label="measured in the loop")
    axes.plot(bits, [one.predicted_mmHg for one in found.lengths], "s--", color=ORANGE, markersize=4,
              label="predicted, white rounding")
    axes.plot(bits, [one.allowed_mmHg(found.floor_mmHg) for one in found.lengths], "-", color=GREY, linewidth=0.9,
              label="1.5 √(predicted² + floor²)")
    axes.axhline(found.floor_mmHg, color=SKY, linestyle="-.", label="floor: converters' last bits")
    axes.axhline(NOISE_SHARE * found.servo_mmHg, color=GREEN, linestyle=":",
                 label=f"{100.0 * NOISE_SHARE:g} % of the servo error")
    tidy(axes, "", "added to cuff pressure (mmHg rms)")
    axes.set_ylim(bottom=max(1e-5, 0.05 * found.floor_mmHg))
    axes.legend(frameon=False, fontsize=8)


def _places(axes: Any, found: Rounding, bits: Any) -> None:
    for place in PLACES:
        values = np.array([max(getattr(noise, place) for noise in one.predicted.values()) for one in found.lengths])
        if np.any(values > 0.0):
            axes.plot(bits, np.where(values > 0.0, values, np.nan), marker=MARKS[place], markersize=4,
                      color=COLOURS[place], label=NAMES[place])
    tidy(axes, "", "predicted by word (mmHg rms)")
    axes.legend(frameon=False, fontsize=8, title="rounded where it is stored")


def _blind(axes: Any, found: Rounding, bits: Any) -> None:
    axes.plot(bits, [one.blind_mmHg for one in found.lengths], "o-", color=BLUE, label="integral kept wide, as planned")
    narrow = [one.blind_narrow_mmHg for one in found.lengths]
    if any(narrow):
        axes.plot(bits, narrow, "s--", color=ORANGE, markersize=4, label="integral a word")
    if found.light_step_mmHg > 0.0:
        axes.axhline(found.light_step_mmHg, color=SKY, linestyle="-.", label="step of the light's converter")
    tidy(axes, "word length (bits)", "steady error overlooked (mmHg)")
    axes.legend(frameon=False, fontsize=8)


def _margins(axes: Any, found: Rounding, bits: Any) -> None:
    axes.plot(bits, [max(one.modulus_change, NOTHING) for one in found.lengths], "o-", color=BLUE,
              label="modulus margin (1)")
    axes.plot(bits, [max(one.phase_change_deg, NOTHING) for one in found.lengths], "s--", color=ORANGE, markersize=4,
              label="phase margin (°)")
    axes.axhline(MODULUS_CHANGE, color=BLUE, linewidth=0.9, linestyle=":", label="largest change allowed, modulus")
    axes.axhline(PHASE_CHANGE_deg, color=ORANGE, linewidth=0.9, linestyle=":", label="largest change allowed, phase")
    tidy(axes, "word length (bits)", "change by rounded coefficients")
    axes.legend(frameon=False, fontsize=8)
