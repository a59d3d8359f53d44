"""A virtual bench: what a rig would have recorded, with the noise and the steps of its converter."""
from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from experiments.identify.replay.candidates import bench_of, candidate
from experiments.identify.replay.kernel import Candidate, Drive, Samples, replay, steps_for
from experiments.rigs.rig import Rig

REACH = 0.2  # of |λ|·step: finer than any fit


def play(
    rig: Rig, command: Samples, period_s: float, channels: Sequence[str] = ("reading_mmHg",), seed: int = 1
) -> dict[str, Samples]:
    """Channels by name, each (samples,), as the rig's transducer and its converter would have recorded them."""
    one: Candidate = candidate(bench_of(rig), (), ())
    drive = Drive(np.asarray(command, float), period_s, steps_for(one.pneumatics, period_s, REACH))
    found = replay([one], drive, channels)
    return {name: measured(values[:, 0], rig.plant.transducer, seed + i)
            for i, (name, values) in enumerate(found.items())}


def measured(values: Samples, transducer: Any, seed: int) -> Samples:
    """A course [mmHg] with the transducer's noise, in its converter's steps, clipped at its full scale."""
    random = np.random.Generator(np.random.PCG64(seed))
    noisy = values + transducer.noise_mmHg * random.standard_normal(len(values))
    if transducer.bits:
        step = transducer.full_scale_mmHg / 2.0**transducer.bits
        noisy = step * np.round(noisy / step)
    return np.asarray(np.minimum(noisy, transducer.full_scale_mmHg), float)
