"""The control law as its user writes it, in either form, and what makes no sense.

    ideal     Kp (1 + 1/(Ti s) + Td s/(1 + s Td/N))
    parallel  Kp + Ki/s + Kd s/(1 + s Tf)
Both with a lead (1 + s/ωz)/(1 + s/ωp) and a notch in series.
"""
from __future__ import annotations

import math
from typing import Annotated, Literal, NamedTuple

from controller.tick.discretise import METHODS, Method
from plant.bounds import check_bounds
from plant.declare import quantity, switch
from plant.errors import InputError

Form = Literal["ideal", "parallel"]
GAINS: dict[Form, tuple[str, ...]] = {
    "ideal": ("ti_s", "td_s", "filter_ratio"), "parallel": ("ki", "kd", "filter_s")
}
SLOWEST_Hz = 1e-3  # a corner below it is a slip of the pen, and its numbers lose their digits
SHORTEST_FILTER = 0.05  # of a tick: Tustin's derivative pole is then -0.82, and at zero it is -1 and rings for ever


class Controller(NamedTuple):
    """The control law as its user writes it. A term or filter whose numbers are left at 0 is not there."""

    form: Annotated[
        Form, switch("which gains are given: ideal (ti_s, td_s) or parallel (ki, kd)", "common practice")
    ] = "ideal"
    kp: Annotated[float, quantity("1/mmHg", 0, 100, "proportional gain: full commands per mmHg", "invented")] = 0.01
    ti_s: Annotated[float, quantity("s", 0, 1000, "ideal: integral time, 0 for no integral action", "neutral")] = 0.0
    td_s: Annotated[float, quantity("s", 0, 10, "ideal: derivative time, 0 for none", "neutral")] = 0.0
    filter_ratio: Annotated[
        float, quantity("1", 0.05, 1000, "ideal: N of the derivative filter, filter time Td/N", "8–20, from memory")
    ] = 10.0
    ki: Annotated[float, quantity("1/(mmHg·s)", 0, 1e5, "parallel: integral gain, 0 for none", "neutral")] = 0.0
    kd: Annotated[float, quantity("s/mmHg", 0, 1000, "parallel: derivative gain, 0 for none", "neutral")] = 0.0
    filter_s: Annotated[
        float, quantity("s", 0, 200, "parallel: time constant of the derivative filter", "neutral")
    ] = 0.0
    method: Annotated[Method, switch("how s becomes z, for every block", "common practice")] = "tustin"
    prewarp_Hz: Annotated[
        float, quantity("Hz", 0, 5000, "where Tustin is exact; set to notch_Hz it puts a notch in its place", "neutral")
    ] = 0.0
    lead_zero_Hz: Annotated[
        float, quantity("Hz", 0, 10000, "corner of the lead's zero; equal to the pole for no lead", "neutral")
    ] = 0.0
    lead_pole_Hz: Annotated[
        float, quantity("Hz", 0, 10000, "corner of the lead's pole; below the zero it is a lag", "neutral")
    ] = 0.0
    notch_Hz: Annotated[float, quantity("Hz", 0, 5000, "centre of the notch, 0 for none", "neutral")] = 0.0
    notch_width_Hz: Annotated[float, quantity("Hz", 0.01, 5000, "-3 dB width of a deep notch", "invented")] = 10.0
    notch_depth_dB: Annotated[float, quantity("dB", 0, 120, "attenuation at the notch's centre", "invented")] = 20.0
    output_low: Annotated[float, quantity("1", -1, 1, "lowest command, fraction of full", "full range")] = -1.0
    output_high: Annotated[float, quantity("1", -1, 1, "highest command, fraction of full", "full range")] = 1.0
    slew_per_s: Annotated[
        float, quantity("1/s", 0, 1e6, "fastest change in full commands a second, 0 for no limit", "neutral")
    ] = 0.0
    tracking_time_s: Annotated[
        float, quantity("s", 0, 1000, "back-calculation time; 0 for √(Ti Td), or Ti without D", "Åström & Hägglund")
    ] = 0.0
    output_bits: Annotated[
        int, quantity("1", 0, 24, "bits of the output converter, 0 for no steps", "common practice")
    ] = 16


def to_parallel(controller: Controller) -> Controller:
    """The same law in parallel form: Ki = Kp/Ti, Kd = Kp Td, Tf = Td/N."""
    if controller.form == "parallel":
        return controller
    kp, ti, td = controller.kp, controller.ti_s, controller.td_s
    return controller._replace(
        form="parallel", ti_s=0.0, td_s=0.0, filter_ratio=Controller._field_defaults["filter_ratio"],
        ki=kp / ti if ti > 0.0 else 0.0, kd=kp * td, filter_s=td / controller.filter_ratio,
    )


def to_ideal(controller: Controller) -> Controller:
    """The same law in ideal form. Raises InputError when it has none: I or D without P, or D without a filter."""
    if controller.form == "ideal":
        return controller
    kp, ki, kd, filter_s = controller.kp, controller.ki, controller.kd, controller.filter_s
    if kp == 0.0 and (ki > 0.0 or kd > 0.0):
        raise InputError("controller.kp = 0: the ideal form has no integral or derivative action without it")
    if kd > 0.0 and filter_s == 0.0:
        raise InputError("controller.filter_s = 0: the ideal form always filters its derivative")
    bare = controller._replace(form="ideal", ki=0.0, kd=0.0, filter_s=0.0, ti_s=kp / ki if ki > 0.0 else 0.0)
    return bare._replace(td_s=kd / kp, filter_ratio=kd / kp / filter_s) if kd > 0.0 else bare


def check_controller(controller: Controller, period_s: float) -> None:
    """Raise InputError, naming the key, for values out of bounds or at odds with each other or the tick [s]."""
    if not 0.0 < period_s < math.inf:
        raise InputError(f"timing.period_s = {period_s:g} must be above 0 s")
    check_bounds(controller, "controller")
    for key, value, allowed in (("form", controller.form, tuple(GAINS)), ("method", controller.method, METHODS)):
        if value not in allowed:
            raise InputError(f"controller.{key} = {value!r}: use one of {', '.join(allowed)}")
    other: Form = "parallel" if controller.form == "ideal" else "ideal"
    for key in GAINS[other]:
        value, unused = getattr(controller, key), Controller._field_defaults[key]
        if value != unused:
            raise InputError(f"controller.{key} = {value:g} belongs to form = '{other}'; "
                             f"with form = '{controller.form}' leave it at {unused:g}")
    if controller.output_low >= controller.output_high:
        raise InputError(f"controller.output_low = {controller.output_low:g} must be below "
                         f"output_high = {controller.output_high:g}")
    if (controller.lead_zero_Hz == 0.0) != (controller.lead_pole_Hz == 0.0):
        missing = "lead_zero_Hz" if controller.lead_zero_Hz == 0.0 else "lead_pole_Hz"
        raise InputError(f"controller.{missing} = 0: a lead needs both its zero and its pole above 0 Hz")
    if controller.prewarp_Hz > 0.0 and controller.method != "tustin":
        raise InputError(f"controller.prewarp_Hz = {controller.prewarp_Hz:g}: only method = 'tustin' can be prewarped")
    for key in ("prewarp_Hz", "lead_zero_Hz", "lead_pole_Hz", "notch_Hz"):
        value = getattr(controller, key)
        if 0.0 < value < SLOWEST_Hz:
            raise InputError(f"controller.{key} = {value:g} Hz: write 0 for none, or at least {SLOWEST_Hz:g} Hz")
    bilinear = ("prewarp_Hz", "lead_zero_Hz", "lead_pole_Hz") if controller.method == "tustin" else ()
    for key in (*bilinear, "notch_Hz"):
        value, nyquist = getattr(controller, key), 0.5 / period_s
        if value >= nyquist:
            raise InputError(f"controller.{key} = {value:g} Hz must be below half the tick rate, {nyquist:g} Hz")
    part = to_parallel(controller)
    check_bounds(part, "controller in parallel form")
    if controller.method == "tustin" and part.kd > 0.0 and part.filter_s < SHORTEST_FILTER * period_s:
        key = "filter_s" if controller.form == "parallel" else "filter_ratio"
        value = getattr(controller, key)
        raise InputError(f"controller.{key} = {value:g} makes a derivative filter of {part.filter_s:g} s, which rings "
                         f"with method = 'tustin': it must be at least {SHORTEST_FILTER * period_s:g} s")
