"""How a set-point search or a schedule talks to the servo: it asks for ticks, sees two signals, and decides.

A plan is a Python generator. It yields a request (hold a pressure, clamp a light level, vent), is sent what the
firmware saw on those ticks, and returns an outcome. It is the firmware's slow task: what it decides takes effect on the
tick after those it has seen. Nothing else reaches it: no true volume, no true arterial pressure.
"""
from __future__ import annotations

from collections.abc import Generator
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
STRIDE_s = 0.05  # requests last whole strides, so that many fingers can be run side by side


class Hold(NamedTuple):
    """Bring cuff pressure to a value by the transducer and hold it there."""

    pressure_mmHg: float
    seconds: float
    purpose: str = ""  # one or two words for people who look on; nothing depends on it


class Clamp(NamedTuple):
    """Hold the light at a set point; with the light-per-pressure slope the error becomes mmHg."""

    set_point: float  # share of full scale
    light_slope: float  # light per mmHg of cuff pressure [1/mmHg], positive
    seconds: float
    sweep_mmHg: float | Samples = 0.0  # slow displacement of the set point, as cuff pressure; tick by tick if an array
    tone_mmHg: float = 0.0  # amplitude of a probing tone on top, at the instrument's probing frequency
    shown: bool = True  # whether the reading, less sweep and tone, is shown as the waveform
    purpose: str = ""
    course_mmHg: float | Samples = 0.0  # where the right level is expected to go meanwhile: followed, and shown


class Vent(NamedTuple):
    """Let the air out."""

    seconds: float
    purpose: str = ""


Request = Hold | Clamp | Vent


class Seen(NamedTuple):
    """What the firmware has after a request, tick by tick: its two signals and its own command."""

    light: Samples  # share of full scale
    reading_mmHg: Samples  # transducer
    command: Samples  # −1 … 1 or 0 … 1, by actuator
    limited: Samples  # 1 where a limit acted on the command


class Instrument(NamedTuple):
    """What the firmware knows of its own hardware, from its design and from the factory."""

    period_s: float  # tick
    highest_mmHg: float  # largest cuff pressure that a search may ask for
    light_step: float  # one step of the light converter, share of full scale; 0 for none
    rise_s: float  # 63 % rise time of the first fill with the cuff wrapped as it should be
    probe_Hz: float  # frequency of a probing tone that the loop follows and the pulse hardly reaches
    probe_ratio: complex  # (light / reading) at that frequency over the slope at rest, by the design of the loop
    loose_ratio: float = 1.45  # a first fill this many times slower is a cuff too loose; invented, a rig has its own

    def ticks(self, seconds: float) -> int:
        """Whole ticks of a request, in whole strides, at least one."""
        stride = max(round(STRIDE_s / self.period_s), 1)
        return max(round(seconds / (stride * self.period_s)), 1) * stride


class Found(NamedTuple):
    """A set point, with how sure the search is of it."""

    set_point: float  # light, share of full scale
    light_slope: float  # light per mmHg of cuff pressure there [1/mmHg]
    cuff_mmHg: float  # mean cuff pressure at which it lies
    sd_mmHg: float  # standard deviation of its error, as transmural pressure
    width_mmHg: float = 16.0  # half-width of the artery's compliance peak, where the search has seen it
    skew: float = 0.0  # log of its half-width at larger volumes over that at smaller ones, as the search has seen it

    @property
    def interval_mmHg(self) -> float:
        """Half-width of the 90 % interval of the set point's error [mmHg]: 1.645 standard deviations."""
        return 1.645 * self.sd_mmHg


class Failed(NamedTuple):
    """No set point, and what the user should do."""

    reason: str  # a key of FAILURES
    seen: str  # what was seen, in figures

    @property
    def message(self) -> str:
        """One line for people."""
        what, advice = FAILURES[self.reason]
        return f"{what} ({self.seen}): {advice}"


Outcome = Found | Failed
Plan = Generator[Request, Seen, Outcome]

FAILURES = {
    "light saturated": (
        "the light is at the end of its converter's range", "lower or raise the emitter's drive, shade the cuff"),
    "cuff too loose": (
        "the bladder takes much more air than a well-wrapped one", "wrap the cuff again, or take a smaller one"),
    "no pulse": (
        "no pulsation in the light at any pressure",
        "see whether the finger is warm and supplied with blood, and try another"),
    "pressure range exhausted": (
        "the pulsation is still growing at the highest pressure", "raise the highest pressure, or measure elsewhere"),
    "too irregular": (
        "the pulsation does not tell of one best pressure", "wait until the rhythm is steadier or the hand still"),
    "timed out": (
        "the search took too long", "repeat it with the hand at rest"),
    "clamp not held": (
        "the clamp does not follow its set point", "see the rig's margins, or start from a lower loop gain"),
    "firmware ended": (
        "the firmware came to an end of its own", "see what was found, and follow `cuffloop loop` with its replay"),
}


class Search(Protocol):
    """A search strategy: parameters of its own, and one method that makes a plan."""

    def search(self, instrument: Instrument) -> Plan:
        """A plan that ends in a set point or in a named failure."""
