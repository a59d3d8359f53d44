"""Failures of transducers, light path and converters. Sizes are invented unless said otherwise."""
from __future__ import annotations

import numpy as np

from experiments.safety.faults.fault import Case, Fault, harm, part_changed
from plant.units import hydrostatic_mmHg

OFFSET_mmHg, GAIN, DRIFT_mmHg_s, NOISE_mmHg, RAIL_mmHg = 30.0, 0.3, 2.0, 15.0, 1e5
DIM, AGEING_per_s, AMBIENT, FLICKER, RIPPLE, LIGHT_NOISE = 0.4, 0.01, 0.08, 0.02, 0.06, 0.005
SUNLIGHT = 1.5  # of full scale
BLOCKED, REFERENCE_per_s, FALL_mmHg_s, HEIGHT_m, OVERDRIVE = 0.002, 0.004, 3.0, 0.2, 5.0


def offset(case: Case, severity: float) -> Case:
    """The main transducer reads too high by a constant."""
    return harm(case, reading_offset_mmHg=OFFSET_mmHg * severity)


def gain(case: Case, severity: float) -> Case:
    """It reads too little of every pressure."""
    return harm(case, reading_gain=1.0 - GAIN * severity)


def drift(case: Case, severity: float) -> Case:
    """Its offset runs away steadily."""
    return harm(case, reading_drift_mmHg_s=DRIFT_mmHg_s * severity)


def stuck(case: Case, severity: float) -> Case:
    """It shows the same value for ever."""
    return harm(case, reading_frozen=True)


def open_high(case: Case, severity: float) -> Case:
    """A broken wire pulls its input to the upper rail."""
    return harm(case, reading_offset_mmHg=RAIL_mmHg)


def open_low(case: Case, severity: float) -> Case:
    """A short pulls its input to the lower rail."""
    return harm(case, reading_offset_mmHg=-RAIL_mmHg)


def noisy(case: Case, severity: float) -> Case:
    """A bad contact: white noise on every sample."""
    return harm(case, reading_noise_mmHg=NOISE_mmHg * severity)


def second_offset(case: Case, severity: float) -> Case:
    """The transducer of the over-pressure switch reads too low: it would trip too late."""
    return harm(case, second_offset_mmHg=-2.0 * OFFSET_mmHg * severity)


def emitter_out(case: Case, severity: float) -> Case:
    """The emitter goes dark."""
    return part_changed(case, "light", emitter=case.plant.light.emitter * (1.0 - severity))


def emitter_dim(case: Case, severity: float) -> Case:
    """The emitter's drive falls by a step."""
    return part_changed(case, "light", emitter=case.plant.light.emitter * (1.0 - DIM * severity))


def ageing(case: Case, severity: float) -> Case:
    """Light fades slowly, as years would do it, at a speed that fits a run."""
    return harm(case, emitter_drift_per_s=-AGEING_per_s * severity)


def _ambient(case: Case, level: float) -> Case:
    ambient = np.array(case.inputs.ambient)
    ambient[case.onset_tick : case.end_tick] += level
    return case._replace(inputs=case.inputs._replace(ambient=ambient))


def saturated(case: Case, severity: float) -> Case:
    """Sunlight drives the detector to full scale."""
    return _ambient(case, SUNLIGHT * severity)


def ambient_step(case: Case, severity: float) -> Case:
    """A lamp is switched on."""
    return _ambient(case, AMBIENT * severity)


def flicker(case: Case, severity: float) -> Case:
    """A lamp that flickers at twice the mains frequency."""
    return part_changed(case, "light", flicker=FLICKER * severity)


def motion(case: Case, severity: float) -> Case:
    """The finger moves: light comes and goes."""
    return harm(case, light_ripple=RIPPLE * severity)


def light_noise(case: Case, severity: float) -> Case:
    """A bad contact at the photodiode."""
    return harm(case, light_noise=LIGHT_NOISE * severity)


def light_bit(case: Case, severity: float) -> Case:
    """A bit of the light's converter is stuck at 1: the one an eighth of full scale is worth, or less."""
    bits = case.plant.light.bits or 16
    return harm(case, light_bit=max(bits - 1 - round(3 / max(severity, 0.1)), 0))


def reading_bit(case: Case, severity: float) -> Case:
    """A bit of the transducer's converter is stuck at 1: the one a sixteenth of full scale is worth, or less."""
    bits = case.plant.transducer.bits or 16
    return harm(case, reading_bit=max(bits - round(4 / max(severity, 0.1)), 0))


def stale_light(case: Case, severity: float) -> Case:
    """The light's converter hands out its old sample."""
    return harm(case, light_frozen=True, converters_old=True)


def stale_both(case: Case, severity: float) -> Case:
    """Both converters hand out their old samples."""
    return harm(case, light_frozen=True, reading_frozen=True, converters_old=True)


def swapped(case: Case, severity: float) -> Case:
    """The multiplexer takes one channel for the other."""
    return harm(case, swapped=True)


def port_blocked(case: Case, severity: float) -> Case:
    """The transducer's port is nearly shut: its reading follows a cuff's pressure by seconds."""
    return part_changed(case, "transducer", bandwidth_Hz=case.plant.transducer.bandwidth_Hz * BLOCKED**severity)


def reference_drifts(case: Case, severity: float) -> Case:
    """The reference voltage that all converters share drifts: light, both transducers and the emitter's monitor."""
    return harm(case, scale_drift_per_s=REFERENCE_per_s * severity)


def ambient_falls(case: Case, severity: float) -> Case:
    """Ambient pressure falls as in a climbing cabin, and the reference side of both transducers is sealed."""
    rate = FALL_mmHg_s * severity
    return harm(case, reading_drift_mmHg_s=rate, second_drift_mmHg_s=rate)


def height_wrong(case: Case, severity: float) -> Case:
    """The height sensor, or its zero, is off by 20 cm: what is shown is off by ρ g h."""
    return harm(case, shown_offset_mmHg=hydrostatic_mmHg(HEIGHT_m * severity))


def overdriven(case: Case, severity: float) -> Case:
    """The emitter's driver is shorted: up to six times the light, and the heat."""
    return part_changed(case, "light", emitter=case.plant.light.emitter * (1.0 + OVERDRIVE * severity))


def contact_opens(case: Case, severity: float) -> Case:
    """The photodiode's lead opens for moments, again and again."""
    return harm(case, light_gain=1.0 - severity, gate_every_s=1.7, gate_on_s=0.03)


SENSING: tuple[Fault, ...] = (
    Fault("transducer_offset", "transducer", "reads 30 mmHg too high", offset),
    Fault("transducer_gain", "transducer", "reads 30 % too little", gain),
    Fault("transducer_drift", "transducer", "drifts by 2 mmHg/s", drift),
    Fault("transducer_stuck", "transducer", "stuck at one value", stuck),
    Fault("transducer_open_high", "transducer", "open circuit, upper rail", open_high),
    Fault("transducer_open_low", "transducer", "short circuit, lower rail", open_low),
    Fault("transducer_noisy", "transducer", "bad contact, noise of 15 mmHg", noisy),
    Fault("switch_transducer_offset", "pressure switch", "its transducer reads 60 mmHg too low", second_offset),
    Fault("emitter_out", "emitter", "dark", emitter_out),
    Fault("emitter_dim", "emitter", "40 % dimmer, at once", emitter_dim),
    Fault("emitter_ageing", "emitter", "fades by 1 % a second", ageing),
    Fault("detector_saturated", "detector", "sunlight beyond full scale", saturated),
    Fault("ambient_step", "detector", "a lamp is switched on", ambient_step),
    Fault("mains_flicker", "detector", "light flickers with the mains", flicker),
    Fault("motion_artefact", "detector", "the finger moves for five seconds", motion, duration_s=5.0),
    Fault("detector_noisy", "detector", "bad contact, noise", light_noise),
    Fault("light_stuck_bit", "converter", "a bit of the light is stuck", light_bit),
    Fault("reading_stuck_bit", "converter", "a bit of the reading is stuck", reading_bit),
    Fault("light_stale", "converter", "light is an old sample", stale_light),
    Fault("samples_stale", "converter", "both samples are old ones", stale_both),
    Fault("channels_swapped", "converter", "light and pressure swapped", swapped),
    Fault("transducer_port_blocked", "transducer", "its port is blocked", port_blocked),
    Fault("reference_voltage_drift", "converter", "shared reference drifts by 0.4 % a second", reference_drifts),
    Fault("ambient_pressure_falls", "transducer", "both sealed, ambient falls by 3 mmHg/s", ambient_falls),
    Fault("height_wrong", "height sensor", "it or its zero is off by 20 cm", height_wrong),
    Fault("emitter_overdriven", "emitter", "driver shorted, six times the drive", overdriven),
    Fault("contact_intermittent", "detector", "its lead opens for moments", contact_opens),
)
