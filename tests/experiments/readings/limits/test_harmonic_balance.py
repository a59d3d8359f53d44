import numpy as np
import pytest

from experiments.readings.limits.curves import GRID_mmHg
from experiments.readings.limits.harmonic_balance import CAUSES, HEARD, LoopGains, balanced
from experiments.readings.limits.rig_loop import rig_loop
from experiments.readings.limits.waves import Waves, shipped_waves
from experiments.rigs.rig import load_rig

WAVES = Waves._make(column[::90] for column in shipped_waves())
OWN = WAVES.harmonics * (np.arange(WAVES.harmonics.shape[1]) > 0)


def test_a_small_beat_is_followed_by_the_linear_loop_alone() -> None:
    loop = rig_loop(load_rig("cabinet"), 90.0)
    for size, within in ((1e-3, 1e-3), (1.0, 1.0)):
        found, left = balanced(loop.gains, size * OWN, WAVES.interval_s)
        linear = size * OWN * loop.response(WAVES.frequency_Hz) / loop.transmission
        off = np.max(np.abs(found - linear)) / np.max(np.abs(linear))
        assert off < within and np.all(left < 2e-3)
    assert off > 0.003


def test_without_dynamics_the_balance_is_solved_moment_by_moment() -> None:
    """Heard is u = p − (A(u)/c − u)/2, so that p = (u + A(u)/c)/2, which a table turns round; out comes p − A(u)/c + u.
    Of a smooth beat, as 32 harmonics have to hold what comes out."""
    smooth = OWN * (np.arange(OWN.shape[1]) <= 2)
    curved = rig_loop(load_rig("wrist"), 90.0).gains.curves._replace(fast=1.0, depth=1e-9)
    gain = np.zeros((len(HEARD), len(CAUSES), 2), complex)
    gain[:, 0], gain[:2, 1] = 1.0, np.array([[-1.0], [-0.5]]) / curved.compliance
    found, left = balanced(LoopGains(np.array([0.0, 100.0]), gain, curved), smooth, WAVES.interval_s)
    pressure = WAVES._replace(harmonics=smooth).pressure_mmHg()
    heard = np.interp(pressure, 0.5 * (GRID_mmHg + curved.area / curved.compliance), GRID_mmHg)
    expected = pressure - np.interp(heard, GRID_mmHg, curved.area) / curved.compliance + heard
    assert np.max(left) < 2e-3 and np.max(np.abs(expected - pressure)) > 3.0
    assert WAVES._replace(harmonics=found).pressure_mmHg() == pytest.approx(expected, abs=0.1)


def test_a_beat_that_is_followed_has_its_mean_where_the_set_point_puts_it() -> None:
    loop = rig_loop(load_rig("wrist"), 90.0)
    followed = loop.followed_mmHg(WAVES)
    assert followed.shape == WAVES.pressure_mmHg().shape
    assert np.mean(followed, axis=1) == pytest.approx(np.mean(WAVES.pressure_mmHg(), axis=1), abs=1.0)
