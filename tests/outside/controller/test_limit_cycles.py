"""Limit cycles of relays, saturations and quantisers, simulated, against describing functions and exact solutions.

The predictions come from our own margins: the ultimate gain and frequency of the linear loop. The simulations are
written here, on the exact sampling of the plant, and share no code with the rooms.
"""
import math

import numpy as np
import pytest
from scipy.linalg import expm

from controller.margins.margins import margins, open_loop
from controller.response import Zpk

LAG = Zpk(np.array([], complex), np.array([0, -1, -1], complex), 1.0)  # 1/(s(s + 1)²): ultimate gain 2 at 1 rad/s
# the same as states y, y', y'': y''' + 2y'' + y' = u
A = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, -2.0]])
B = np.array([0.0, 0.0, 1.0])


def sampled(a, b, step_s):
    """Exact step under a held input."""
    n = len(b)
    block = np.zeros((n + 1, n + 1))
    block[:n, :n], block[:n, n] = a * step_s, b * step_s
    whole = expm(block)
    return whole[:n, :n], whole[:n, n]


def oscillation(element, duration_s, step_s, start):
    """Output of the lag under u = −element(y), every step."""
    phi, gamma = sampled(A, B, step_s)
    x, trace = np.array([start, 0.0, 0.0]), np.empty(round(duration_s / step_s))
    for i in range(len(trace)):
        trace[i] = x[0]
        x = phi @ x - gamma * element(x[0])
    return trace


def amplitude_and_frequency(trace, step_s):
    """Half the swing, and angular frequency from interpolated upward zero crossings, of a steady oscillation."""
    swing = trace - 0.5 * (np.max(trace) + np.min(trace))
    i = np.flatnonzero((swing[:-1] < 0.0) & (swing[1:] >= 0.0))
    times = (i - swing[i] / (swing[i + 1] - swing[i])) * step_s
    return 0.5 * (np.max(trace) - np.min(trace)), 2.0 * math.pi * (len(times) - 1) / (times[-1] - times[0])


def test_relay_on_an_integrating_lag():
    """Relay ±1 on 1/(s(s+1)²): N(a) = 4/(πa) meets the ultimate gain 2 at a = 2/π, ω = 1 [computed], within 5 %."""
    linear = margins(open_loop(LAG))
    assert linear.gain_margin == pytest.approx(2.0, rel=1e-9)
    predicted = 4.0 / (math.pi * linear.gain_margin)
    assert predicted == pytest.approx(0.6366, abs=5e-5)
    trace = oscillation(lambda y: 1.0 if y > 0.0 else -1.0, 120.0, 2e-3, 1.0)[-30000:]
    amplitude, omega = amplitude_and_frequency(trace, 2e-3)
    assert amplitude == pytest.approx(predicted, rel=0.05)
    assert omega == pytest.approx(2 * math.pi * linear.gain_margin_Hz, rel=0.05)


def test_saturation_on_an_integrating_lag():
    """Twice the ultimate gain into a limiter ±1: N(a) = (2/π)(asin(1/a) + √(1 − 1/a²)/a) = 1/2 [seen], within 5 %."""
    from scipy.optimize import brentq

    loud = margins(open_loop(LAG._replace(gain=4.0)))
    assert not loud.stable and loud.gain_margin == pytest.approx(0.5, rel=1e-9)

    def slope(a):
        return 2 / math.pi * (math.asin(1 / a) + math.sqrt(1 - 1 / a**2) / a)

    ratio = brentq(lambda a: slope(a) - loud.gain_margin, 1.0, 9.0)
    trace = oscillation(lambda y: 4.0 * min(max(y, -1.0), 1.0), 150.0, 4e-3, 0.1)[-15000:]
    amplitude, omega = amplitude_and_frequency(trace, 4e-3)
    assert amplitude == pytest.approx(ratio, rel=0.05)
    assert omega == pytest.approx(2 * math.pi * loud.gain_margin_Hz, rel=0.05)


def test_hysteresis_relay_on_an_integrating_lag():
    """Relay ±1 with hysteresis ±c: −1/N = −(π/4)(√(a² − c²) + jc) [seen] meets our response at (a, ω), within 5 %."""
    from scipy.optimize import brentq

    from controller.response import response

    c = 0.2
    omega = brentq(lambda w: response(LAG, w).imag + math.pi * c / 4, 0.3, 0.999)
    amplitude = math.hypot(4 * response(LAG, omega).real / math.pi, c)
    state = [1.0]

    def relay(y):
        if y > c:
            state[0] = 1.0
        elif y < -c:
            state[0] = -1.0
        return state[0]

    found = amplitude_and_frequency(oscillation(relay, 150.0, 4e-3, 1.0)[-15000:], 4e-3)
    assert found == pytest.approx((amplitude, omega), rel=0.05)


@pytest.mark.parametrize(("lag_s", "dead_time_s", "gain", "level"), [(1.0, 1.0, 1.0, 1.0), (1.0, 0.4, 2.0, 0.5),
                                                                   (0.5, 1.0, 0.7, 3.0)])
def test_relay_on_a_lag_with_dead_time_exactly(lag_s, dead_time_s, gain, level):
    """Exact, not a describing function: amplitude Kd(1 − e^{−L/T}), period 2T ln(2e^{L/T} − 1) [computed], 0.1 %.

    L = T = 1 gives 0.6321 and 2.9798.
    """
    step = dead_time_s / 4000
    keep, take = math.exp(-step / lag_s), gain * (1.0 - math.exp(-step / lag_s))
    line, x = [level] * 4000, 0.1
    trace = np.empty(round(14 * (lag_s + dead_time_s) / step))
    for i in range(len(trace)):
        trace[i] = x
        delayed, line[i % 4000] = line[i % 4000], -level if x > 0.0 else level
        x = keep * x + take * delayed
    amplitude, omega = amplitude_and_frequency(trace[len(trace) // 2 :], step)
    assert amplitude == pytest.approx(gain * level * (1.0 - math.exp(-dead_time_s / lag_s)), rel=1e-3)
    assert 2 * math.pi / omega == pytest.approx(2 * lag_s * math.log(2 * math.exp(dead_time_s / lag_s) - 1), rel=1e-3)
    if lag_s == dead_time_s == gain == level == 1.0:
        assert (amplitude, 2 * math.pi / omega) == pytest.approx((0.6321, 2.9798), rel=1e-3)


def test_relay_test_finds_the_ultimate_gain_that_the_margins_predict():
    """Åström & Hägglund's relay experiment: Ku ≈ 4d/(πa), here on dead time, 5 to 20 % off (common knowledge, memory).

    The exact cycle above gives Ku 2.01 for L = T = 1, the linear loop's ultimate gain is 2.26.
    """
    linear = margins(open_loop(Zpk(np.array([], complex), np.array([-1], complex), 1.0, 0.0, 1.0)))
    relay = 4.0 / (math.pi * (1.0 - math.exp(-1.0)))
    assert linear.gain_margin == pytest.approx(2.2618, rel=1e-4)
    assert 0.8 < relay / linear.gain_margin < 0.95


# --- quantisers ---------------------------------------------------------------------------------------------------


def quantised(y, step):
    """Mid-tread rounding."""
    return step * math.floor(y / step + 0.5)


def first_step(amplitude, step):
    """Describing function of a mid-tread quantiser for amplitudes between a half and one and a half steps."""
    return 4 * step / (math.pi * amplitude) * math.sqrt(1 - (step / (2 * amplitude)) ** 2)


def test_describing_function_of_a_mid_tread_quantiser():
    """N is the first harmonic over the amplitude; its maximum 4/π = 1.2732 lies at A = q/√2 [computed]."""
    for amplitude in (0.55, 0.8, 1.2, 1.45):
        angle = (np.arange(400_000) + 0.5) * 2 * math.pi / 400_000
        wave = np.floor(amplitude * np.sin(angle) + 0.5)
        assert 2 * np.mean(wave * np.sin(angle)) / amplitude == pytest.approx(first_step(amplitude, 1.0), rel=1e-4)
    grid = np.linspace(0.5, 1.5, 100_001)
    values = np.array([first_step(a, 1.0) for a in grid])
    assert np.max(values) == pytest.approx(4 / math.pi, rel=1e-9)
    assert grid[np.argmax(values)] == pytest.approx(1 / math.sqrt(2), abs=1e-4)


@pytest.mark.parametrize("start", [0.7, 1.0, 1.4, 3.0])
def test_quantised_sensor_does_not_hunt_at_gain_margin_two(start):
    """Gain margin 2 exceeds 4/π, so the first-step cycle is ruled out [computed]: the loop comes to rest."""
    assert margins(open_loop(LAG)).gain_margin > 4 / math.pi
    trace = oscillation(lambda y: quantised(y, 1.0), 200.0, 1e-2, start)
    assert np.ptp(trace[-2000:]) < 1e-3
    assert abs(trace[-1]) <= 0.5 + 1e-3, "at rest inside the dead zone of the sensor"


def test_quantised_sensor_hunts_below_four_over_pi():
    """Gain margin 1.15: N(A) = 1.15 has its stable solution at A = 0.936 q [computed]; simulated, within 5 %."""
    gain = 2.0 / 1.15
    loud = margins(open_loop(LAG._replace(gain=gain)))
    assert loud.stable and loud.gain_margin == pytest.approx(1.15, rel=1e-9) and loud.gain_margin < 4 / math.pi
    inverse_square = 2.0 - 2.0 * math.sqrt(1.0 - (1.15 * math.pi / 4) ** 2)
    predicted = 1.0 / math.sqrt(inverse_square)
    assert first_step(predicted, 1.0) == pytest.approx(1.15, rel=1e-9)
    trace = oscillation(lambda y: gain * quantised(y, 1.0), 400.0, 1e-2, 1.2)
    amplitude, omega = amplitude_and_frequency(trace[-8000:], 1e-2)
    assert amplitude == pytest.approx(predicted, rel=0.05)
    assert omega == pytest.approx(2 * math.pi * loud.gain_margin_Hz, rel=0.05)
    linear = oscillation(lambda y: gain * y, 400.0, 1e-2, 1.2)
    assert np.ptp(linear[-8000:]) < 0.02, "without the quantiser the same loop settles"


def codes_at_rest(actuator_step, sensor_step, reference=0.37):
    """Actuator codes of the last third of a run: integral control of a first-order lag, both ends quantised."""
    lag, integral, y, codes = math.exp(-0.1), 0.0, 0.0, []
    for _ in range(6000):
        integral -= 0.03 * quantised(y - reference, sensor_step)
        command = quantised(integral, actuator_step)
        y = lag * y + (1.0 - lag) * command
        codes.append(round(command / actuator_step))
    return codes[4000:]


def test_coarse_actuator_hunts_by_one_step():
    """An actuator coarser than the sensor has no code inside the sensor's zero bin: integral action hunts ±1 step.

    Condition after Peterchev & Sanders 2003, IEEE Trans Power Electron 18:301 [memory, high].
    """
    assert margins(open_loop(Zpk(np.array([0], complex), np.array([1, math.exp(-0.1)], complex),
                                 0.03 * (1 - math.exp(-0.1)), 0.1))).gain_margin > 4 / math.pi
    hunting = codes_at_rest(actuator_step=1.0, sensor_step=0.1)
    assert set(hunting) == {0, 1}, "the two codes beside the reference of 0.37, for ever"
    changes = np.count_nonzero(np.diff(hunting))
    assert changes > 10
    assert len(set(codes_at_rest(actuator_step=0.02, sensor_step=0.1))) == 1, "a finer actuator comes to rest"
