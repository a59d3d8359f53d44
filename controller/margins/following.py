"""How the clamped cuff, and what is read of it, follows arterial pressure: the linear loop's gain between them.

With the hold H, the dead time D = e^{-jωτ}, the controller C and the actuator stage's slopes b (demand) and
r (reading):
    c = H D (−b C light/s + r reading),   light = L_c c + L_p p,   reading = R_c c + R_p p,   cuff = G_c c + G_p p.
Frequencies above half the tick rate fold back and are left out, so this is for frequencies far below it.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import Loop
from controller.response import sweep
from controller.tick.law import Coefficients
from plant.linear import Linear
from plant.operating_point import plant_twin

Complex = NDArray[np.complex128]
Reals = NDArray[np.float64]

NOISE_POINTS = 120  # of frequency, in even steps


def _gains(twin: Linear, omega: Reals) -> dict[tuple[str, str], Complex]:
    """Complex gain from every input to every output, one solution of the states for all of them."""
    pencil = 1j * omega[:, None, None] * np.eye(len(twin.a)) - twin.a
    found: Complex = np.asarray(twin.c @ np.linalg.solve(pencil, twin.b.astype(complex)) + twin.d, complex)
    return {(o, i): found[:, k, j] for k, o in enumerate(twin.outputs) for j, i in enumerate(twin.inputs)}


def closed_gains(loop: Loop, twin: Linear, omega: Reals) -> dict[tuple[str, str], Complex]:
    """Gains of the closed loop from every input of a twin but its command to every output, each of shape (n,).

    The twin is one of the loop's plant, with `command` among its inputs and `light` and `reading` among its outputs.
    """
    gain, held = _gains(twin, omega), _held(loop, omega)
    by_light = -held * loop.by_demand / loop.light_slope * sweep(loop.coefficients, omega)
    by_reading = held * loop.by_reading
    inner = 1.0 - by_reading * gain["reading", "command"] - by_light * gain["light", "command"]
    return {(o, i): gain[o, i] + gain[o, "command"] * (by_light * gain["light", i] + by_reading * gain["reading", i])
            / inner for o, i in gain if i != "command"}


def _held(loop: Loop, omega: Reals) -> Complex:
    """Hold and dead time."""
    period, dead = loop.timing.period_s, loop.timing.dead_time_s
    hold = np.exp(-0.5j * omega * period) * np.sinc(0.5 * omega * period / np.pi)
    return np.asarray(hold * np.exp(-1j * omega * dead))


class Following:
    """One loop's plant at some frequencies, ready for any controller."""

    def __init__(self, loop: Loop, omega: Reals) -> None:
        self.omega = omega
        gain = _gains(plant_twin(loop.plant, loop.point, loop.side), omega)
        held = _held(loop, omega)
        self._by_light = -held * loop.by_demand / loop.light_slope
        self._own = own = held * loop.by_reading
        self._held, self._slope = held, loop.light_slope
        self._light, self._light_by_pressure = gain["light", "command"], gain["light", "arterial_pressure"]
        self._cuff = gain["cuff_pressure", "command"]
        self._cuff_by_pressure = gain["cuff_pressure", "arterial_pressure"]
        self._reading, self._reading_by_pressure = gain["reading", "command"], gain["reading", "arterial_pressure"]
        self._inner = 1.0 - own * gain["reading", "command"]
        self._straight = own * gain["reading", "arterial_pressure"]

    def gain(self, coefficients: Coefficients) -> Complex:
        """Cuff pressure per arterial pressure at each frequency, shape (n,); 1 is a perfect clamp."""
        return np.asarray(self._cuff * self._command(coefficients) + self._cuff_by_pressure)

    def reading_gain(self, coefficients: Coefficients) -> Complex:
        """The same of the transducer's reading, which is not the cuff's pressure where a line lies between them."""
        return np.asarray(self._reading * self._command(coefficients) + self._reading_by_pressure)

    def _command(self, coefficients: Coefficients) -> Complex:
        """Command per arterial pressure."""
        by_light = self._by_light * sweep(coefficients, self.omega)
        command = (by_light * self._light_by_pressure + self._straight) / (self._inner - by_light * self._light)
        return np.asarray(command)

    def noise_gains(self, coefficients: Coefficients) -> tuple[Complex, Complex, Complex]:
        """Cuff pressure per noise in light [mmHg at the firmware's slope], in reading [mmHg] and in the command [1]."""
        by_light = self._by_light * sweep(coefficients, self.omega)
        closed = self._cuff / (self._inner - by_light * self._light)
        return closed * by_light * self._slope, closed * self._own, closed * self._held

    def rms_error_mmHg(self, coefficients: Coefficients, rms_mmHg: Reals) -> float:
        """Rms of cuff minus arterial pressure when the latter has these rms values at these frequencies [mmHg]."""
        return float(np.sqrt(np.sum((np.abs(self.gain(coefficients) - 1.0) * rms_mmHg) ** 2)))


def noise_rms_mmHg(loop: Loop, coefficients: Coefficients, light_mmHg: float, reading_mmHg: float,
                   command: float) -> float:
    """Rms of cuff pressure from independent white noises of these SDs in the samples of light, of the pressure reading
    and of the command, by the linear loop up to half the tick rate; converter steps count as SD step/√12."""
    following = Following(loop, np.pi / loop.timing.period_s * (np.arange(NOISE_POINTS) + 0.5) / NOISE_POINTS)
    powers = [np.mean(np.abs(gain) ** 2) for gain in following.noise_gains(coefficients)]
    return float(np.sqrt(np.dot(powers, np.square([light_mmHg, reading_mmHg, command]))))
