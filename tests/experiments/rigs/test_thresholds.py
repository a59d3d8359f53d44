"""What thresholds leave to the rig."""
import math

import pytest

from controller.tick.check_sum import settings_sum
from controller.tick.law import design
from experiments.rigs.rig import load_rig
from experiments.rigs.thresholds import fill_lag_s, pulse_share, thresholds
from plant.finger.light import sample_deviation


def test_what_is_left_to_the_rig():
    """A flow rig's firmware believes in a rate, a pressure rig's in a range; the band lies round the supply."""
    for name, kind in (("wrist", "rate_mmHg_s"), ("cabinet", "range_mmHg")):
        rig = load_rig(name)
        found = thresholds(rig).protection
        beliefs = found.response.rate_mmHg_s, found.response.range_mmHg
        assert sum(b > 0.0 for b in beliefs) == 1 and getattr(found.response, kind) > 0.0
        supply = rig.plant.supply.pressure_mmHg
        assert found.supply_range.lowest_mmHg < supply < found.supply_range.highest_mmHg
    rig = load_rig("wrist", ["response.rate_mmHg_s=123", "supply_range.lowest_mmHg=50"])
    found = thresholds(rig).protection
    assert found.response.rate_mmHg_s == 123.0 and found.supply_range.lowest_mmHg == 50.0


def test_the_believed_rate_is_the_plants():
    """n p_ref q/(V + n p dV/dp) with the rig's own 20 mL/s, bladder and line: within what a hand calculation rounds."""
    rig = load_rig("wrist")
    volume = 2.5 + 0.1 * 90.0 / 240.0 + 0.12 + 0.0884
    growth = 0.1 * 150.0 / 240.0**2
    rate = 1.2 * 750.06 * 20.0 / (volume + 1.2 * 850.0 * growth)
    assert thresholds(rig).protection.response.rate_mmHg_s == pytest.approx(rate, rel=2e-3)


def test_a_band_of_the_supply_is_narrow():
    found = thresholds(load_rig("wrist")).protection.supply_range
    assert (found.lowest_mmHg, found.highest_mmHg) == pytest.approx((588.0, 612.0))


def test_air_per_pressure_is_boyles_law_with_the_exponent():
    """V/(n p_ref), by hand: a reservoir of 150 mL holds 150/(1.2 · 750.06) mL more for each mmHg."""
    for name, volume in (("wrist", 150.0), ("cabinet", 2000.0)):
        use = thresholds(load_rig(name)).protection.air_use
        assert use.reservoir_mL_mmHg == pytest.approx(volume / (1.2 * 750.06), rel=1e-3)
    cabinet = thresholds(load_rig("cabinet")).protection.air_use
    tube = math.pi * 0.15**2 * 120.0 + 0.3
    assert cabinet.bleed_mL_s == 0.0
    growing = 1.2 * 850.0 * 0.6 * 150.0 / 240.0**2
    assert cabinet.cuff_mL_mmHg == pytest.approx((tube + 2.725 + growing) / 900.0, rel=0.02)


def test_the_bleed_is_that_of_iso_6358():
    """0.002 dm³/(s·bar) from 850 to 760 mmHg with b = 0.3: C p1 √(1 − ((r − b)/(1 − b))²)."""
    ratio = 760.0 / 850.0
    flow = 0.002e3 * (850.0 / 750.06) * math.sqrt(1.0 - ((ratio - 0.3) / 0.7) ** 2)
    assert thresholds(load_rig("wrist")).protection.air_use.bleed_mL_s == pytest.approx(flow, rel=1e-3)


def test_a_slow_loop_leaves_more_and_the_threshold_says_so():
    """Half the gain leaves more than half as much again; the wrist rig leaves less than the cabinet's slower loop."""
    whole = {name: pulse_share(load_rig(name)) for name in ("wrist", "cabinet")}
    assert whole["wrist"] < 0.5 * whole["cabinet"]
    assert pulse_share(load_rig("wrist", ["controller.kp=0.0053"])) > 1.5 * whole["wrist"]
    assert thresholds(load_rig("wrist", ["following.share=0.5"])).protection.following.share == 0.5


def test_a_longer_line_takes_longer_to_fill():
    """The mean lag of the cabinet's line is some 20 ms; a bladder of twice the volume adds its own R C."""
    assert fill_lag_s(load_rig("cabinet")) == pytest.approx(0.02, abs=0.003)
    assert fill_lag_s(load_rig("cabinet", ["cuff.volume_mL=5"])) > 1.1 * fill_lag_s(load_rig("cabinet"))
    assert thresholds(load_rig("wrist")).protection.response.fill_lag_s == 0.0


def test_noise_of_light_is_white_noise_and_steps():
    rig = load_rig("wrist", ["light.noise=3e-5", "light.bits=12"])
    noise = sample_deviation(rig.plant.light)
    assert noise == pytest.approx(math.hypot(3e-5, 2.0**-12 / math.sqrt(12.0)))
    assert thresholds(rig).protection.light_signal.noise == noise


def test_the_check_sum_is_that_of_the_rigs_own_law():
    rig = load_rig("wrist")
    own = settings_sum(design(rig.controller, rig.timing.period_s))
    assert thresholds(rig).protection.settings_check.expected == own and 0 < own < 2**32
    other = load_rig("wrist", ["controller.kp=0.0087"])
    assert thresholds(other).protection.settings_check.expected != own
