"""What a rig's firmware knows of its own hardware, against the rig itself."""
import numpy as np
import pytest

from calibrate.protocol import Clamp, Hold, Instrument
from calibrate.search.staircase import Staircase, too_loose
from controller.margins.loop import build_loop, loop_margins
from controller.tick.law import design
from experiments.rigs.rig import Rig, clamp, load_rig
from experiments.simulation.instrument import NOMINAL_mmHg, first_rise_s, instrument_of
from experiments.simulation.session import Session
from experiments.simulation.steps import steps_a_tick
from plant.assembly import Inputs

RIGS = ["wrist", "cabinet"]


def tuned(name: str) -> tuple[Rig, Instrument]:
    rig = load_rig(name)
    return rig, instrument_of(rig)


@pytest.mark.parametrize("name", RIGS)
def test_the_tone_sits_at_the_design_crossover(name: str) -> None:
    """Where the loop as designed has unit gain, and below what the tick can carry."""
    rig, instrument = tuned(name)
    coefficients = design(rig.controller, rig.timing.period_s)
    loop = build_loop(rig.plant, clamp(rig, NOMINAL_mmHg, rig.tone.level), "fill", rig.timing, rig.stage, coefficients)
    assert instrument.probe_Hz == pytest.approx(loop_margins(loop).crossover_Hz, rel=1e-9)
    assert 8.0 <= instrument.probe_Hz <= 0.08 / instrument.period_s


def test_a_lower_gain_moves_the_tone_down() -> None:
    rig, instrument = tuned("wrist")
    lower = rig._replace(controller=rig.controller._replace(kp=0.6 * rig.controller.kp))
    assert instrument_of(lower).probe_Hz < 0.9 * instrument.probe_Hz


@pytest.mark.parametrize("name", RIGS)
def test_the_ratio_is_what_the_coupled_loop_shows(name: str) -> None:
    """Small-signal: steady pressure, no noise, a tone of half a mmHg; light over reading at its frequency, over the
    slope of the static law at the operating point.
    """
    rig, instrument = tuned(name)
    light = rig.plant.light._replace(noise=0.0, bits=0)
    transducer = rig.plant.transducer._replace(noise_mmHg=0.0, bits=0)
    quiet = rig._replace(plant=rig.plant._replace(light=light, transducer=transducer))
    point = clamp(quiet, NOMINAL_mmHg, quiet.tone.level)
    ticks = instrument.ticks(14.0) + 1
    steady = Inputs(np.full(ticks, NOMINAL_mmHg), np.full(ticks, quiet.tone.level), np.full(ticks, light.ambient))
    session = Session(quiet, steady, 1, steps_a_tick(quiet, point))
    session.ask(Hold(point.state.cuff_mmHg, 2.0), instrument)
    session.ask(Clamp(point.light, abs(point.light_slope), 8.0), instrument)
    seen = session.ask(Clamp(point.light, abs(point.light_slope), 4.0, 0.0, 0.5), instrument)
    first, count = instrument.ticks(1.0), round(30 / instrument.probe_Hz / instrument.period_s)
    window = np.hanning(count) * np.exp(-2j * np.pi * instrument.probe_Hz * instrument.period_s * np.arange(count))
    lit, read = (np.sum((s[first:] - np.mean(s[first:]))[:count] * window) for s in (seen.light, seen.reading_mmHg))
    ratio = complex(lit / read) / point.light_slope
    assert abs(ratio - instrument.probe_ratio) < 0.005 * abs(instrument.probe_ratio)
    assert np.sign(ratio.imag) == np.sign(instrument.probe_ratio.imag) or abs(ratio.imag) < 0.02


@pytest.mark.parametrize("name", RIGS)
def test_the_first_fill_grows_with_the_bladder(name: str) -> None:
    rig = load_rig(name)
    volume = rig.plant.cuff.volume_mL
    rises = [first_rise_s(rig._replace(plant=rig.plant._replace(cuff=rig.plant.cuff._replace(volume_mL=volume * k))))
             for k in (1.0, 1.6, 2.5)]
    assert rises[0] == instrument_of(rig).rise_s
    assert rises[0] > 0.0 and np.all(np.diff(rises) > 0.0)
    # the cabinet's fill is mostly its tube's: two and a half bladders take a third longer, so its line lies lower
    assert 1.02 < instrument_of(rig).loose_ratio < rises[1] / rises[0]


@pytest.mark.parametrize("name", RIGS)
def test_loose_wraps_are_told_from_good_ones(name: str) -> None:
    """Through converters and noise, at both ends of what virtual fingers have: −0.1 … 0.25 of slack, or 0.6 … 1.5."""
    rig, instrument = tuned(name)
    stairs = Staircase()
    verdicts = []
    for slack in (-0.1, 0.25, 0.6, 1.5):
        cuff = rig.plant.cuff._replace(volume_mL=rig.plant.cuff.volume_mL * (1.0 + slack))
        ticks = instrument.ticks(1.0)
        steady = Inputs(np.full(ticks + 1, 90.0), np.zeros(ticks + 1), np.full(ticks + 1, 0.02))
        session = Session(rig._replace(plant=rig.plant._replace(cuff=cuff)), steady, 3, 5)
        seen = session.ask(Hold(stairs.first_mmHg, 1.0), instrument)
        verdicts.append(too_loose(seen, stairs.first_mmHg, instrument) is not None)
    assert verdicts == [False, False, True, True]


def test_the_converter_is_the_rigs() -> None:
    rig, instrument = tuned("wrist")
    light = rig.plant.light
    assert instrument.light_step == 2.0**-light.bits
    assert instrument.period_s == rig.timing.period_s
    smooth = rig._replace(plant=rig.plant._replace(light=light._replace(bits=0)))
    assert instrument_of(smooth).light_step == 0.0
    assert instrument_of(rig, 180.0).highest_mmHg == 180.0
