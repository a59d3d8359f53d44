"""Failures of the tick, the processor, its power, what it was loaded with, and its calibration. Sizes are invented."""
from __future__ import annotations

import numpy as np

from controller.tick.firmware import CLAMP
from controller.tick.law import design
from experiments.safety.faults.fault import (
    AT_START,
    Case,
    Fault,
    harm,
    part_changed,
    since_onset_s,
    vented_from,
)
from experiments.simulation.disturbance import MOST_LATE
from plant.finger.artery import static_area, unloaded_pressure
from plant.finger.light import light_intensity
from plant.finger.vein import vein_target
from plant.scenarios.sudden import smoothly

LATE_ticks, LOST, BOOT_s, SAG, GAIN_UP, GAIN_DOWN = 4, 0.4, 0.2, 0.3, 4.0, 0.8
CONSTRICTED, CONSTRICTS_s = 1.2, 10.0  # of tone: a cold room's (`plant.scenarios`)
CORRUPTED, INTERRUPTED_mmHg, HASTY_s, LEAST_FILL_mmHg = 0.25, 15.0, 2.0, 20.0


def late(case: Case, severity: float) -> Case:
    """Every command comes some ticks late."""
    return harm(case, late_ticks=min(round(LATE_ticks * severity), MOST_LATE))


def lost(case: Case, severity: float) -> Case:
    """Ticks are missed at random."""
    return harm(case, lost_share=LOST * severity)


def doubled(case: Case, severity: float) -> Case:
    """Every tick runs twice."""
    return harm(case, doubled=True)


def hung(case: Case, severity: float) -> Case:
    """The processor stands still; its last command stays."""
    return harm(case, hung=True)


def reset(case: Case, severity: float) -> Case:
    """The processor starts anew in the middle of the clamp and has forgotten its set point."""
    return harm(case, boot_ticks=max(round(BOOT_s * severity / case.period_s), 1))


def power_loss(case: Case, severity: float) -> Case:
    """All power is gone: processor, coils, pump, emitter."""
    return harm(part_changed(case, "light", emitter=0.0), power=0.0, command_gain=0.0, pump_dead=True)


def brown_out(case: Case, severity: float) -> Case:
    """Power sags, but not enough for anything to stop: coils, pump and emitter are weaker."""
    level = 1.0 - SAG * severity
    weaker = part_changed(case, "light", emitter=case.plant.light.emitter * level)
    weaker = part_changed(weaker, "supply", pump_flow_mL_s=case.plant.supply.pump_flow_mL_s * level)
    return harm(weaker, power=level, command_gain=level)


def _gains(case: Case, factor: float) -> Case:
    controller = case.rig.controller
    if controller.form == "parallel":
        gains = controller._replace(kp=controller.kp * factor, ki=controller.ki * factor, kd=controller.kd * factor)
    else:
        gains = controller._replace(kp=controller.kp * factor)
    return case._replace(firmware=case.firmware._replace(coefficients=design(gains, case.period_s)))


def gains_high(case: Case, severity: float) -> Case:
    """The gains of another rig are loaded: up to four times too high."""
    return _gains(case, GAIN_UP**severity)


def gains_low(case: Case, severity: float) -> Case:
    """The gains of another rig are loaded: down to a fifth."""
    return _gains(case, 1.0 - GAIN_DOWN * severity)


def corrupted(case: Case, severity: float) -> Case:
    """A flipped bit changes the set point by a quarter."""
    return harm(case, set_point_gain=1.0 + CORRUPTED * severity)


def sign_error(case: Case, severity: float) -> Case:
    """The slope of the light comes with the wrong sign: the loop pushes the wrong way."""
    return harm(case, error_sign=-1.0)


def _other_set_point(case: Case, set_point: float, slope: float, up_mmHg: float = 0.0) -> Case:
    """The case with another set point, reached from a cuff that was filled so much higher."""
    count = len(case.orders.mode)
    orders = case.orders._replace(set_point=np.full(count, set_point), light_slope=np.full(count, slope),
                                  fill_mmHg=np.maximum(case.orders.fill_mmHg + up_mmHg, LEAST_FILL_mmHg))
    return case._replace(orders=orders)


def interrupted(case: Case, severity: float) -> Case:
    """The search stopped early: the set point is off by a transmural pressure, and lacks the mark of a search's end."""
    return harm(astray(case, severity), unsearched=True)


def astray(case: Case, severity: float) -> Case:
    """The search came to its end, at a wrong place: the set point is off by a transmural pressure, of either sign.

    The light is that of wall and veins at rest at the wrong pressure, where the search has held the cuff: from
    another pressure the wall's creep would carry the clamp on, far beyond. The sign goes with the case's seed.
    """
    off = INTERRUPTED_mmHg * severity * (1.0 if case.seed % 2 else -1.0)
    up = -off / case.plant.tissue.transmission
    return _other_set_point(case, light_off(case, off), float(case.orders.light_slope[0]), up)


def light_off(case: Case, off_mmHg: float) -> float:
    """Light at which mean transmural pressure lies so far above that of peak compliance."""
    plant, tone = case.plant, float(np.mean(case.inputs.tone))
    transmural = float(unloaded_pressure(plant.artery, tone)) + off_mmHg
    external = float(np.mean(case.inputs.arterial_mmHg)) - transmural
    area = float(static_area(plant.artery, transmural, tone))
    return float(light_intensity(plant.light, area, float(vein_target(plant.vein, external)), plant.light.ambient))


def too_early(case: Case, severity: float) -> Case:
    """The clamp begins two seconds after the cuff was filled, while veins and wall are still on their way."""
    mode = np.array(case.orders.mode)
    hasty = round(HASTY_s / case.period_s)
    first = int(np.argmax(mode == CLAMP))
    mode[min(hasty + round((1.0 - severity) * max(first - hasty, 0)), first) : first] = CLAMP
    return case._replace(orders=case.orders._replace(mode=mode))


def wrong_finger(case: Case, severity: float) -> Case:
    """Set point and slope were found on another finger."""
    return _other_set_point(case, *case.other_finger)


def alarm_dead(case: Case, severity: float) -> Case:
    """Lamp and sounder of the alarm are dead: whatever is detected, nobody is told."""
    return harm(case, alarm_dead=True)


def display_stale(case: Case, severity: float) -> Case:
    """The display and the output go on showing what they showed last."""
    return harm(case, shown_frozen=True, shown_value_mmHg=case.state.reading_mmHg)


def not_recalibrated(case: Case, severity: float) -> Case:
    """Nobody looks for the set point again while vessels constrict: what minutes of cold do, within ten seconds."""
    tone = case.inputs.tone + CONSTRICTED * severity * smoothly(since_onset_s(case), 0.0, CONSTRICTS_s)
    return case._replace(inputs=case.inputs._replace(tone=tone))


def wear_timer(case: Case, severity: float) -> Case:
    """The wear time is over at the onset, and nobody ends the clamp: at severity 1 never, at 0 the timer works."""
    ticks = len(case.orders.mode)
    return vented_from(case, case.onset_tick + round(severity * (ticks - case.onset_tick)))


FIRMWARE: tuple[Fault, ...] = (
    Fault("tick_late", "tick", "commands four ticks late", late),
    Fault("ticks_lost", "tick", "40 % of the ticks missed", lost),
    Fault("tick_doubled", "tick", "every tick runs twice", doubled),
    Fault("processor_hung", "processor", "stands still", hung),
    Fault("processor_reset", "processor", "starts anew in mid-clamp", reset),
    Fault("power_loss", "power", "all power gone", power_loss),
    Fault("brown_out", "power", "sags by 30 %", brown_out),
    Fault("gains_high", "settings", "gains four times too high", gains_high, AT_START, of_law=True),
    Fault("gains_low", "settings", "gains at a fifth", gains_low, AT_START, of_law=True),
    Fault("set_point_corrupted", "settings", "set point a quarter too high", corrupted),
    Fault("sign_error", "settings", "error with the wrong sign", sign_error),
    Fault("search_interrupted", "calibration", "stopped, set point 15 mmHg off, either way", interrupted, AT_START),
    Fault("search_astray", "calibration", "search ended 15 mmHg off, either way", astray, AT_START),
    Fault("clamp_too_early", "calibration", "clamp begins two seconds after filling", too_early, AT_START),
    Fault("wrong_finger", "calibration", "set point of another finger", wrong_finger, AT_START),
    Fault("recalibration_missed", "calibration", "never again, while vessels constrict", not_recalibrated),
    Fault("wear_timer_failed", "wear timer", "does not end the clamp", wear_timer, to_empty=True),
    Fault("alarm_dead", "alarm", "tells nobody", alarm_dead),
    Fault("display_stale", "display", "shows its last value", display_stale),
)
