"""The linear gain from arterial to cuff pressure, against the nonlinear simulation of the whole instrument."""
import numpy as np
import pytest

from controller.margins.following import Following, noise_rms_mmHg
from controller.margins.loop import build_loop
from controller.tick.law import design
from experiments.rigs.rig import clamp, load_rig
from experiments.simulation.simulate import Plan, simulate
from plant.pressure.record import PressureTrace

QUIET = ["light.noise=0.0", "light.bits=0", "transducer.bits=0", "controller.output_bits=0", "artery.fast_fraction=1.0",
         "vein.emptying_s=0.1", "vein.filling_s=0.1"]  # at rest within moments


def tone(rig, frequency_Hz, amplitude_mmHg=0.5):
    """Four seconds about 95 mmHg."""
    time = np.arange(4001) * rig.timing.period_s
    pressure = 95.0 + amplitude_mmHg * np.sin(2.0 * np.pi * frequency_Hz * time)
    return PressureTrace(pressure, rig.timing.period_s, np.ones(4001, bool), "tone", "a test")


@pytest.mark.parametrize(("name", "changes"),
                         [("wrist", []), ("cabinet", []), ("wrist", ["tissue.transmission=0.9"])])
@pytest.mark.parametrize("frequency_Hz", [2.0, 6.0, 20.0])
def test_as_the_simulation_does(name, changes, frequency_Hz):
    """A small tone comes out of the coupled loop with the linear gain and phase, within 1 % of the tone.

    What the creeping wall does meanwhile is the same without the tone, and taken off.
    """
    rig = load_rig(name, [*QUIET, *changes])
    plan = Plan(fill_s=0.5, settle_s=1.0)
    run, still = (simulate(rig, tone(rig, frequency_Hz, size), plan) for size in (0.5, 0.0))
    part = slice(2000, 4000)  # whole periods of all these tones
    turn = np.exp(-2j * np.pi * frequency_Hz * np.arange(2000) * rig.timing.period_s)
    cuff, arterial, reading = (run.channels[c][part] - still.channels[c][part]
                               for c in ("cuff_mmHg", "arterial_mmHg", "reading_mmHg"))
    coefficients = design(rig.controller, rig.timing.period_s)
    loop = build_loop(rig.plant, clamp(rig, 95.0, 0.0), "fill", rig.timing, rig.stage, coefficients)
    following = Following(loop, np.array([2.0 * np.pi * frequency_Hz]))
    assert abs(following.gain(coefficients)[0] - (cuff @ turn) / (arterial @ turn)) < 0.01
    assert abs(following.reading_gain(coefficients)[0] - (reading @ turn) / (arterial @ turn)) < 0.01


def test_without_gain_the_cuff_hardly_moves():
    rig = load_rig("wrist")
    coefficients = design(rig.controller._replace(kp=0.0), rig.timing.period_s)
    loop = build_loop(rig.plant, clamp(rig, 95.0, 0.0), "fill", rig.timing, rig.stage, coefficients)
    following = Following(loop, 2.0 * np.pi * np.array([1.0, 5.0]))
    assert np.all(np.abs(following.gain(coefficients)) < 0.02)
    assert following.rms_error_mmHg(coefficients, np.array([3.0, 4.0])) == pytest.approx(5.0, rel=0.02)


@pytest.mark.parametrize(("name", "source"), [("wrist", "light"), ("cabinet", "light"), ("wrist", "reading"),
                                              ("wrist", "command")])
def test_noise_comes_through_as_in_the_simulation(name, source):
    """Noise in light or reading, or coarse steps of the command converter, at a constant pressure; within 15 %.

    A little light noise keeps the converter's steps from locking into a pattern of their own.
    """
    light = {"light": 0.0005, "reading": 0.0, "command": 0.0005}[source]
    reading, bits = 1.0 * (source == "reading"), 8 * (source == "command")
    rig = load_rig(name, [*QUIET, f"light.noise={light}", f"transducer.noise_mmHg={reading}",
                          f"controller.output_bits={bits}"])
    run, still = (simulate(r, tone(r, 1.0, 0.0), Plan(fill_s=0.5, settle_s=1.0)) for r in
                  (rig, load_rig(name, [*QUIET, "transducer.noise_mmHg=0.0"])))
    seen = np.std(run.channels["cuff_mmHg"][2000:] - still.channels["cuff_mmHg"][2000:])
    coefficients = design(rig.controller, rig.timing.period_s)
    loop = build_loop(rig.plant, clamp(rig, 95.0, 0.0), "fill", rig.timing, rig.stage, coefficients)
    step = coefficients.output_quantum / np.sqrt(12.0)
    found = noise_rms_mmHg(loop, coefficients, light / loop.light_slope, reading, step)
    assert found == pytest.approx(seen, rel=0.15)
