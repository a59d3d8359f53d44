"""What a fault does to samples, ticks and commands, as plain numbers that the guarded kernel reads on every tick.

Physical faults are other parameter values of the plant; here is what no parameter of plant or firmware can say. At the
defaults nothing is changed, to the last bit.
"""
from __future__ import annotations

import math
from typing import NamedTuple

from plant.assembly import Plant
from plant.declare import inlined
from plant.numerics.noise import NOISE_CHANNELS, gaussian, uniform

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
    # transducer of the over-pressure switch
    second_gain: float = 1.0
    second_offset_mmHg: float = 0.0
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
    if step <= 0.0 or bit < 0:
        return value
    code = int(max(math.floor(value / step + 0.5), 0.0))
    mask = 1 << bit
    code = code | mask if high else code & ~mask
    return code * step


@inlined
def disturbed_samples(
    fault: Disturbance, plant: Plant, light: float, reading_mmHg: float, held_light: float, held_mmHg: float, seed: int,
    tick: int, period_s: float,
) -> tuple[float, float]:
    """Light (share of full scale) and reading [mmHg] as the firmware gets them; `held` are its samples before."""
    since = (tick - fault.onset_tick) * period_s
    scale = plant.transducer.full_scale_mmHg
    wave = math.sin(2.0 * math.pi * fault.light_ripple_Hz * since)
    wave += 0.5 * math.sin(2.0 * math.pi * 2.7 * fault.light_ripple_Hz * since)
    gain = fault.light_gain * (1.0 + fault.emitter_drift_per_s * since + fault.light_ripple * wave)
    light = light * max(gain, 0.0) + fault.light_offset
    if fault.light_noise > 0.0:
        light += fault.light_noise * gaussian(seed, LIGHT_NOISE, tick)
    light = min(max(light, 0.0), 1.0)
    reading = reading_mmHg * fault.reading_gain + fault.reading_offset_mmHg + fault.reading_drift_mmHg_s * since
    if fault.reading_noise_mmHg > 0.0:
        reading += fault.reading_noise_mmHg * gaussian(seed, READING_NOISE, tick)
    reading = min(max(reading, -0.1 * scale), scale)
    if fault.light_bit >= 0:
        light = with_stuck_bit(light, 2.0**-plant.light.bits, fault.light_bit, fault.bit_high)
    if fault.reading_bit >= 0:
        reading = with_stuck_bit(reading, scale * 2.0**-plant.transducer.bits, fault.reading_bit, fault.bit_high)
    if fault.light_frozen:
        light = held_light
    if fault.reading_frozen:
        reading = held_mmHg
    if fault.swapped:
        light, reading = min(max(reading / scale, 0.0), 1.0), light * scale
    return light, reading


@inlined
def converter_error(fault: Disturbance, plant: Plant, held_light: float, held_mmHg: float) -> float:
    """Largest error of both converters on references of a third and two thirds, share of full scale.

    A converter that hands out an old sample does so for a reference too.
    """
    scale = plant.transducer.full_scale_mmHg
    worst = 0.0
    for k in range(2):
        reference = (k + 1.0) / 3.0
        light, reading = reference, reference
        if fault.light_bit >= 0:
            light = with_stuck_bit(light, 2.0**-plant.light.bits, fault.light_bit, fault.bit_high)
        if fault.reading_bit >= 0:
            reading = with_stuck_bit(reading, 2.0**-plant.transducer.bits, fault.reading_bit, fault.bit_high)
        if fault.light_frozen and fault.converters_old:
            light = held_light
        if fault.reading_frozen and fault.converters_old:
            reading = held_mmHg / scale
        worst = max(worst, abs(light - reference), abs(reading - reference))
    half = max(2.0**-plant.light.bits, 2.0**-plant.transducer.bits)
    return worst if worst > half else 0.0


@inlined
def tick_is_lost(fault: Disturbance, seed: int, tick: int) -> bool:
    """Whether the processor misses this tick by the fault's own chance."""
    return fault.lost_share > 0.0 and uniform(seed, LOST, tick) < fault.lost_share


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


