"""What a fault does to samples, ticks and commands, as plain numbers that the protected tick reads.

Physical faults are other parameter values of the plant; here is what no parameter of plant or firmware can say. At the
defaults nothing is changed, to the last bit.
"""
from __future__ import annotations

import math
from typing import NamedTuple

from experiments.simulation.coupled import Sample
from plant.assembly import Plant
from plant.declare import inlined
from plant.numerics.elementary import power_of_two
from plant.numerics.noise import NOISE_CHANNELS, gaussian, uniform
from plant.numerics.vector import anywhere, choose, rounded_down

LOST, LIGHT_NOISE, READING_NOISE = NOISE_CHANNELS + 8, NOISE_CHANNELS + 9, NOISE_CHANNELS + 10
MOST_LATE = 30  # ticks


class Disturbance(NamedTuple):
    """One fault, or several together, while it lasts."""

    active: bool = False  # whether any sample is to be touched at all
    onset_tick: int = 0
    # light sample, share of full scale
    light_gain: float = 1.0
    light_offset: float = 0.0
    emitter_drift_per_s: float = 0.0  # relative; its monitor sees it too
    light_ripple: float = 0.0  # relative amplitude of a motion artefact
    light_ripple_Hz: float = 1.7
    light_noise: float = 0.0
    light_frozen: bool = False
    light_bit: int = -1  # converter bit that is stuck, −1 for none
    # pressure sample
    reading_gain: float = 1.0
    reading_offset_mmHg: float = 0.0
    reading_drift_mmHg_s: float = 0.0
    reading_noise_mmHg: float = 0.0
    reading_frozen: bool = False
    reading_bit: int = -1
    bit_high: bool = True  # what a stuck bit reads
    converters_old: bool = False  # what is frozen is so by its converter: its references are old samples too
    swapped: bool = False  # both channels
    # what touches both samples
    scale_drift_per_s: float = 0.0  # relative, of everything that is read against one reference voltage
    gate_every_s: float = 0.0  # samples are touched in bursts that begin so often; 0: all the time
    gate_on_s: float = 0.0  # length of a burst
    # transducer of the over-pressure switch
    second_gain: float = 1.0
    second_offset_mmHg: float = 0.0
    second_drift_mmHg_s: float = 0.0
    # what people see
    shown_offset_mmHg: float = 0.0
    shown_frozen: bool = False  # the display keeps the value below, whatever is measured
    shown_value_mmHg: float = 0.0
    alarm_dead: bool = False  # nobody is told of a fallback state
    # ticks and processor
    lost_share: float = 0.0
    late_ticks: int = 0
    late_share: float = 0.0  # of a tick
    doubled: bool = False
    hung: bool = False
    boot_ticks: int = 0  # of a reset at the onset; 0 for none
    power: float = 1.0  # share of nominal
    error_sign: float = 1.0
    set_point_gain: float = 1.0
    set_point_shift_mmHg: float = 0.0
    unsearched: bool = False  # the set point does not bear the mark of a finished search
    # valve command as it reaches the valve
    command_gain: float = 1.0
    command_offset: float = 0.0
    command_least: float = -1.0  # a valve that cannot vent gets no less
    command_only_rises: bool = False
    # openings, dm³/(s·bar)
    node_conductance: float = 0.0
    cuff_conductance: float = 0.0
    feed_conductance: float = 0.0
    pump_dead: bool = False


NONE = Disturbance()


def disturbance(**changes: float) -> Disturbance:
    """A disturbance with types as the kernel expects them: a float stays a float even when it is given as 1."""
    kinds = {name: type(value) for name, value in NONE._asdict().items()}
    return Disturbance(**{"active": True, **{name: kinds[name](value) for name, value in changes.items()}})


@inlined
def with_stuck_bit(value: float, step: float, bit: int, high: bool) -> float:
    """A sample as its converter's code shows it when one bit is stuck; a code is never negative."""
    mask = power_of_two(bit)
    code = rounded_down(max(value / step + 0.5, 0.0))
    without = rounded_down(code * (1.0 / mask))  # exact: a power of two
    is_set = without > 2.0 * rounded_down(0.5 * without)
    stuck = choose(high, choose(is_set, code, code + mask), choose(is_set, code - mask, code))
    shown: float = choose((step <= 0.0) | (bit < 0), value, stuck * step)
    return shown


@inlined
def reference_scale(fault: Disturbance, since_s: float) -> float:
    """What every converter reads over what is there, when the reference voltage that they share drifts."""
    return 1.0 + fault.scale_drift_per_s * since_s


@inlined
def in_burst(fault: Disturbance, since_s: float) -> bool:
    """Whether a failure that comes in bursts touches the samples now."""
    every = choose(fault.gate_every_s > 0.0, fault.gate_every_s, 1.0)
    into = since_s - every * rounded_down(max(since_s, 0.0) / every)
    touched: bool = (fault.gate_every_s <= 0.0) | (into < fault.gate_on_s)
    return touched


@inlined
def disturbed_samples(
    fault: Disturbance, plant: Plant, taken: Sample, held: Sample, seed: int, tick: int, period_s: float
) -> Sample:
    """Samples as the firmware gets them; `held` are those that it got on the last tick on which it ran."""
    since = (tick - fault.onset_tick) * period_s
    full, scale = plant.transducer.full_scale_mmHg, reference_scale(fault, since)
    gain = (1.0 + fault.emitter_drift_per_s * since) * scale
    if anywhere(fault.light_ripple != 0.0):
        wave = math.sin(2.0 * math.pi * fault.light_ripple_Hz * since)
        wave = wave + 0.5 * math.sin(2.0 * math.pi * 2.7 * fault.light_ripple_Hz * since)
        gain = gain + fault.light_ripple * wave
    light = taken.light * max(fault.light_gain * gain, 0.0) + fault.light_offset
    if anywhere(fault.light_noise > 0.0):
        light = light + fault.light_noise * gaussian(seed, LIGHT_NOISE, tick)
    light = min(max(light, 0.0), 1.0)
    reading = taken.reading_mmHg * (fault.reading_gain * scale)
    reading = reading + fault.reading_offset_mmHg + fault.reading_drift_mmHg_s * since
    if anywhere(fault.reading_noise_mmHg > 0.0):
        reading = reading + fault.reading_noise_mmHg * gaussian(seed, READING_NOISE, tick)
    reading = min(max(reading, -0.1 * full), full)
    if anywhere(fault.light_bit >= 0):
        light = with_stuck_bit(light, 2.0**-plant.light.bits, fault.light_bit, fault.bit_high)
    if anywhere(fault.reading_bit >= 0):
        reading = with_stuck_bit(reading, full * 2.0**-plant.transducer.bits, fault.reading_bit, fault.bit_high)
    light = choose(fault.light_frozen, held.light, light)
    reading = choose(fault.reading_frozen, held.reading_mmHg, reading)
    exchanged = min(max(reading / full, 0.0), 1.0), light * full
    light = choose(fault.swapped, exchanged[0], light)
    reading = choose(fault.swapped, exchanged[1], reading)
    if anywhere(fault.gate_every_s > 0.0):
        touched = in_burst(fault, since)
        light, reading = choose(touched, light, taken.light), choose(touched, reading, taken.reading_mmHg)
    return Sample(light, reading)


@inlined
def converter_error(fault: Disturbance, plant: Plant, held: Sample) -> float:
    """Largest error of both converters on references of a third and two thirds, share of full scale.

    A converter that hands out an old sample does so for a reference too.
    """
    worst = 0.0
    old_light = fault.light_frozen & fault.converters_old
    old_reading = fault.reading_frozen & fault.converters_old
    for k in range(2):
        reference = (k + 1.0) / 3.0
        light = with_stuck_bit(reference, 2.0**-plant.light.bits, fault.light_bit, fault.bit_high)
        reading = with_stuck_bit(reference, 2.0**-plant.transducer.bits, fault.reading_bit, fault.bit_high)
        light = choose(old_light, held.light, light)
        reading = choose(old_reading, held.reading_mmHg / plant.transducer.full_scale_mmHg, reading)
        worst = max(max(worst, abs(light - reference)), abs(reading - reference))
    half = max(2.0**-plant.light.bits, 2.0**-plant.transducer.bits)
    error: float = choose(worst > half, worst, 0.0)
    return error


@inlined
def tick_is_lost(fault: Disturbance, seed: int, tick: int) -> bool:
    """Whether the processor misses this tick by the fault's own chance."""
    lost = False
    if anywhere(fault.lost_share > 0.0):
        lost = uniform(seed, LOST, tick) < fault.lost_share
    return lost


def joined(first: Disturbance, second: Disturbance) -> Disturbance:
    """Both faults at once: gains multiply, offsets add, anything else is taken from whichever is not neutral."""
    found = {}
    for name, neutral in NONE._asdict().items():
        one, two = getattr(first, name), getattr(second, name)
        if name.endswith("_gain") or name in ("power", "error_sign"):
            found[name] = one * two
        elif isinstance(neutral, float) and neutral == 0.0:
            found[name] = one + two
        elif name == "onset_tick":
            found[name] = max(one, two)
        else:
            found[name] = one if one != neutral else two
    return Disturbance(**found)
