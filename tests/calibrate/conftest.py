"""What the tests of the calibrate room share: an instrument, and a finger that answers requests without a kernel.

The finger obeys the arctangent law exactly, its cuff holds a pressure at once and its clamp holds the light at once, so
what a search or a schedule makes of it can be held against the law.
"""
import math
from collections.abc import Callable, Generator
from typing import Any, NamedTuple

import numpy as np
import pytest

from calibrate.protocol import Clamp, Hold, Instrument, Request, Seen
from experiments.rigs.rig import Rig, load_rig
from experiments.simulation.instrument import instrument_of

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j)


def pulse_shape(ticks: int, start: int = 0, beat_s: float = 0.8, period_s: float = 0.001) -> np.ndarray:
    """0 … 1: a rise of a fifth of a second, or a quarter of a quick beat, and a slow fall."""
    share = min(0.2 / beat_s, 0.25)
    phase = (np.arange(start, start + ticks) * period_s / beat_s) % 1.0
    up, down = np.sin(0.5 * np.pi * phase / share) ** 2, np.cos(0.5 * np.pi * (phase - share) / (1.0 - share)) ** 2
    return np.where(phase < share, up, down)


class Finger(NamedTuple):
    """Light = bright · e^{−depth · area}, area = ½ + atan((arterial − cuff)/width)/π; pressures less p0."""

    diastolic_mmHg: float = 70.0
    pulse_mmHg: float = 45.0
    width_mmHg: float = 15.0
    depth: float = 0.3
    bright: float = 0.6
    beat_s: float = 0.8
    first_fill: float = 1.0  # how much slower than a well-wrapped cuff
    noise: float = 0.0  # SD of a light sample
    loop_error: float = 0.0  # SD of what the clamp leaves, as light
    ratio: complex = 1.0 + 0.0j  # light over reading at the probing tone, over the slope

    @property
    def set_point(self) -> float:
        """Light of the unloaded artery."""
        return self.bright * math.exp(-0.5 * self.depth)

    @property
    def relative_slope(self) -> float:
        """−d ln(light)/dp there [1/mmHg]."""
        return self.depth / (math.pi * self.width_mmHg)

    def error_mmHg(self, set_point: float) -> float:
        """Transmural pressure less p0 [mmHg] at which the light is the set point."""
        share = math.log(self.bright / set_point) / self.depth
        return self.width_mmHg * math.tan(math.pi * (min(max(share, 0.01), 0.99) - 0.5))

    def arterial(self, ticks: int, start: int) -> np.ndarray:
        """Arterial pressure less p0 [mmHg]."""
        return self.diastolic_mmHg + self.pulse_mmHg * pulse_shape(ticks, start, self.beat_s)

    def answer(self, request: Request, start: int, instrument: Instrument = INSTRUMENT) -> Seen:
        """What the firmware sees of a request that begins at tick `start`."""
        ticks = instrument.ticks(request.seconds)
        time = np.arange(ticks) * instrument.period_s
        noise = np.random.default_rng([7, start]).standard_normal((2, ticks))
        arterial = self.arterial(ticks, start)
        if isinstance(request, Clamp):
            tone = request.tone_mmHg * np.exp(2j * np.pi * instrument.probe_Hz * time)
            light = request.set_point + request.light_slope * (request.sweep_mmHg + request.course_mmHg + tone.imag)
            share = np.clip(np.log(self.bright / np.maximum(light, 1e-9)) / self.depth, 0.02, 0.98)
            reading = arterial - self.width_mmHg * np.tan(np.pi * (share - 0.5))
            # the loop's own answer to the tone: light leads or trails the reading by the instrument's ratio
            light = light + request.light_slope * ((self.ratio - 1.0) * tone).imag
            light = light + self.loop_error * noise[1]
        else:
            pressure = request.pressure_mmHg if isinstance(request, Hold) else 0.0
            reading = np.full(ticks, pressure)
            if start == 0:
                reading = pressure * (1.0 - np.exp(-time / (instrument.rise_s * self.first_fill)))
            area = 0.5 + np.arctan((arterial - reading) / self.width_mmHg) / np.pi
            light = self.bright * np.exp(-self.depth * area)
        light = np.clip(light + self.noise * noise[0], 0.0, 1.0)
        return Seen(light, reading, np.zeros(ticks), np.zeros(ticks))


class Driven(NamedTuple):
    """What a plan asked, when, what it saw, and what it came to; the outcome is None where time was over first."""

    times_s: list[float]
    asked: list[Request]
    seen: list[Seen]
    outcome: Any
    seconds: float

    @property
    def holds(self) -> list[float]:
        """Pressures asked of the cuff [mmHg], in order."""
        return [r.pressure_mmHg for r in self.asked if isinstance(r, Hold)]

    @property
    def clamps(self) -> list[Clamp]:
        """Requests of clamp, in order."""
        return [r for r in self.asked if isinstance(r, Clamp)]


def drive_plan(
    plan: Generator[Request, Seen, Any], finger: Finger | Callable[[float], Finger],
    instrument: Instrument = INSTRUMENT, seconds: float = 1e9,
) -> Driven:
    """Run a plan on a finger, or on one that changes with time [s], to its end or for some seconds."""
    at = finger if callable(finger) else lambda _: finger
    tick, times, asked, answers, outcome = 0, [], [], [], None
    try:
        request = next(plan)
        while tick * instrument.period_s < seconds:
            now = tick * instrument.period_s
            times.append(now)
            asked.append(request)
            answers.append(at(now).answer(request, tick, instrument))
            tick += len(answers[-1].light)
            request = plan.send(answers[-1])
    except StopIteration as end:
        outcome = end.value
    return Driven(times, asked, answers, outcome, tick * instrument.period_s)


@pytest.fixture(scope="session")
def instrument() -> Instrument:
    """An instrument with ticks of 1 ms that probes at 36 Hz."""
    return INSTRUMENT


@pytest.fixture(scope="session")
def pulse() -> Callable[..., np.ndarray]:
    """`pulse(ticks, start, beat_s)`: see `pulse_shape`."""
    return pulse_shape


@pytest.fixture(scope="session")
def finger() -> Finger:
    """A finger by the arctangent law, at 120/75 beats a minute 75; others by `_replace`."""
    return Finger()


@pytest.fixture(scope="session")
def drive() -> Callable[..., Driven]:
    """`drive(plan, finger, instrument, seconds)`: see `drive_plan`."""
    return drive_plan


@pytest.fixture(scope="session")
def wrist() -> tuple[Rig, Instrument]:
    """The built-in wrist rig, and what its firmware knows of it."""
    rig = load_rig("wrist")
    return rig, instrument_of(rig)
