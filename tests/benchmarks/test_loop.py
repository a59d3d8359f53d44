"""The kernel against the same loop written by hand in C: every channel of every tick."""
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from controller.tick.firmware import CLAMP, FILL, VENT
from experiments.simulation.coupled import CHANNELS

CASES: dict[str, tuple[str, ...]] = {
    "as it ships": (),
    "a dead time of a fraction": ("timing.dead_time_s=0.00143",),
    "play, slew limit, notch": ("valve.hysteresis=0.004", "controller.slew_per_s=20.0", "controller.notch_Hz=180.0"),
    "tone, flicker, drift": ("tone.level=0.3", "tone.wave=0.2", "light.flicker=0.001", "transducer.drift_mmHg_h=50.0"),
    "warm, loose, leaking": ("air.temperature_K=310.0", "tissue.transmission=0.9", "cuff.leak_mL_s_mmHg=0.01"),
}


@pytest.mark.parametrize("settings", CASES.values(), ids=CASES.keys())
def test_kernel_is_the_hand_written_loop(
    make_case: Callable[..., Any], c_loop: Any, settings: tuple[str, ...]
) -> None:
    """Two seconds of filling and twelve of clamp, noise on, the same seed: cuff pressure within 1e-9 mmHg."""
    case = make_case(14.0, *settings, seed=7)
    ours, theirs = case.run(), c_loop.prepare(case)()
    assert ours.shape == theirs.shape and np.count_nonzero(case.orders.mode == CLAMP) >= 10_000
    apart = np.max(np.abs(ours - theirs), axis=0)
    assert apart[CHANNELS.index("cuff_mmHg")] < 1e-9
    size = np.maximum(np.max(np.abs(theirs), axis=0), 1.0)
    assert np.all(apart / size < 1e-9), dict(zip(CHANNELS, apart, strict=True))
    assert np.std(ours[-5000:, CHANNELS.index("cuff_mmHg")]) > 5.0  # there was a pulse to follow


def test_through_all_modes_and_back(make_case: Callable[..., Any], c_loop: Any) -> None:
    """Fill, clamp, vent, fill and clamp again: limits act, and the second start is bumpless as well."""
    case = make_case(10.0)
    for mode, start, end in ((VENT, 5000, 6000), (FILL, 6000, 8000), (CLAMP, 8000, 10_000)):
        case.orders.mode[start:end] = mode
    ours, theirs = case.run(), c_loop.prepare(case)()
    assert np.max(np.abs(ours - theirs)) < 1e-9
    assert np.min(ours[5000:6000, CHANNELS.index("cuff_mmHg")]) < 1.0


def test_diverging_run_ends_on_the_same_tick(make_case: Callable[..., Any], c_loop: Any) -> None:
    """Steps far too long for a cuff of a drop: both give up, together."""
    case = make_case(6.0)
    plant, _, clock = case.loop
    cuff = plant.cuff._replace(volume_mL=1e-3, growth_mL=0.0)
    case = case._replace(loop=case.loop._replace(plant=plant._replace(cuff=cuff), clock=clock._replace(substeps=1.0)),
                         trace=np.full_like(case.trace, 7.0))
    ours, theirs = case.run(), c_loop.prepare(case)()
    done = len(theirs)
    assert 0 < done < len(ours)
    assert np.all(ours[done:] == 7.0) and not np.any(ours[done - 1] == 7.0)
    assert ours[: done - 1] == pytest.approx(theirs[: done - 1], rel=1e-6, abs=1e-6)
