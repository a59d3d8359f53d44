"""A recording: a command that was played on a bench, and what was measured, on an even clock of its own."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

CHANNELS = ("reading_mmHg", "node_mmHg", "cuff_mmHg", "supply_mmHg", "flow_mL_s", "light", "arterial_mmHg")
MEANING = {
    "time_s": "time", "command": "valve command as it was put out, a fraction of full command",
    "reading_mmHg": "the rig's own transducer", "node_mmHg": "a bench gauge at the valve end of the line",
    "cuff_mmHg": "a bench gauge in the cuff", "supply_mmHg": "a gauge on the reservoir",
    "flow_mL_s": "flow into the line, ANR", "light": "photodiode, a fraction of full scale",
    "arterial_mmHg": "a reference of the arterial pressure at the finger",
}
PRESSURES = ("reading_mmHg", "node_mmHg", "cuff_mmHg", "supply_mmHg")
KINDS = {
    "step": "steps of the command, up and down", "chirp": "a sine whose frequency rises",
    "multisine": "many sines at once, in periods that repeat", "sweep": "a slow triangle through the dead band",
    "leak_down": "filled, then left to itself", "vent_down": "filled, then vented", "fill": "filled from empty",
    "droop": "large draws in a row, so that the supply falls", "click": "short pulses, whose onset tells the dead time",
    "lamp": "steps of the lamp on a phantom", "ramp": "a slow rise of pressure on a finger with its pulse",
}


class Recording(NamedTuple):
    """One experiment, checked."""

    name: str  # of its file
    played: str  # one of KINDS
    period_s: float
    command: Samples  # (n,), in force from its sample to the next
    channels: dict[str, Samples]  # name: (n,)
    noise: dict[str, float]  # SD of each channel's noise, in its unit
    start_mmHg: float = 0.0  # gauge pressure that it starts from, at rest
    holdout: bool = False  # kept out of the fit, to test it
    sha256: str = ""  # of the file
    periods: int = 0  # of a multisine, how often it repeats; 0: does not

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.command) * self.period_s


REST_SAMPLES = 20  # before the command first moves: as many tell of noise
BLOCK = 64


def resting_samples(command: Samples) -> int:
    """How many samples there are before the command first moves."""
    return int(np.argmax(np.abs(command - command[0]) > 1e-9)) if np.ptp(command) > 1e-9 else len(command)


def noise_of(values: Samples, rest: int) -> tuple[float, int]:
    """SD of white noise, and how many samples it comes from: those at rest or, without them, the quiet blocks.

    Third differences of white noise have twenty times its variance and those of a slow signal next to none (common
    practice). A signal in steps q is off by q/√12 where its noise is too small to blur them.
    """
    moves = np.abs(np.diff(values))
    step = float(np.min(moves[moves > 0.0])) if np.any(moves > 0.0) else 0.0
    if rest >= REST_SAMPLES:
        still = values[:rest]
        deviation, count = float(np.std(still, ddof=1)), rest
    else:
        whole = len(values) - 3
        differences = np.diff(values, 3)[: whole - whole % BLOCK].reshape(-1, BLOCK)
        sizes = np.mean(differences * differences, axis=1) / 20.0
        quiet = sizes[sizes <= 1.5 * np.median(sizes)]
        deviation, count = float(np.sqrt(np.mean(quiet))), len(quiet) * BLOCK // 4
    return max(deviation, step / np.sqrt(12.0) if deviation < 0.5 * step else 0.0), count


def usual_noise(values: Samples, rest: int) -> tuple[float, int]:
    """`noise_of` the samples at rest, unless they move more than the quiet blocks do: they are not at rest then."""
    still, quiet = noise_of(values, rest), noise_of(values, 0)
    return quiet if quiet[0] < 0.5 * still[0] else still
