"""Random rigs, each tuned and simulated on its fingers: does what keeps its limits hold, and is it told what does not?

    python -m tests.studies.random_rigs --rigs 20 --fingers 50 --seed 1

Both kinds of valve; tube of 0.05 to 2 m by 1.5 to 3 mm, cuff of 1.5 to 6 mL, dead time of 0 to 3 ms, valve 0.6 to 1.5
times as quick, light noise 0.5 to 2 times. One line a rig; at the end, what the two claims come to:

* no finger is saturated under a setting that is passed;
* where a finger's simulated error is more than 15 % off the prediction (of its own or of the worst finger's, whichever
  is larger), the tuning is failed.

Exit status 1 when one of them does not hold. A rig takes about one minute of one core.
"""
from __future__ import annotations

import argparse
import sys
import time

import numpy as np

from experiments.check.agreement import APART
from experiments.design.tune.limits import margin_limits
from experiments.design.tune.study import Aims, Tuning, tune
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import Rig, load_rig
from experiments.subjects.table import chosen_fingers
from plant.errors import InputError


def random_settings(rng: np.random.Generator) -> tuple[str, list[str]]:
    """A built-in rig and what is changed of it."""
    base = "wrist" if rng.random() < 0.5 else "cabinet"
    quick = {"wrist": 350.0, "cabinet": 100.0}[base] * 0.6 * 2.5 ** rng.random()
    noise = 2e-5 * 0.5 * 4.0 ** rng.random()
    return base, [
        f"tube.length_m={0.05 * 40.0 ** rng.random():.3f}", f"tube.diameter_mm={rng.uniform(1.5, 3.0):.2f}",
        f"cuff.volume_mL={rng.uniform(1.5, 6.0):.2f}", f"timing.dead_time_s={rng.uniform(0.0, 0.003):.5f}",
        f"valve.natural_frequency_Hz={quick:.0f}", f"light.noise={noise:.2e}",
    ]


def tuned(rig: Rig, fingers: int, seed: int, structures: tuple[str, ...]) -> Tuning:
    """The rig tuned as `cuffloop tune` does, without the trade-off."""
    limits = margin_limits(load_requirements(default_requirements(rig.base)))
    aims = Aims(limits, structures=structures, peaks=(), simulated=fingers)
    return tune(rig, chosen_fingers(fingers, "mixed", seed), aims, "mixed", seed)


def line_of(found: Tuning) -> str:
    """What a tuning and its simulation came to."""
    if not found.tuned.kept:
        return f"no settings keep the limits ({found.tuned.name})"
    done = [c for c in found.confirmations if c.status == "done"]
    off = np.array([abs(c.simulated_mmHg / c.predicted_mmHg - 1.0) for c in done])
    word = "passed" if found.passed else f"FAIL on {len(found.broken)}"
    worst = max(c.simulated_mmHg for c in done) if done else float("nan")
    return (f"{found.tuned.name:<32} predicted worst {found.tuned.rms_mmHg:6.2f}, simulated {worst:6.2f} mmHg; "
            f"off their own prediction: median {np.median(off):4.0%}, most {np.max(off):4.0%}, "
            f"{np.sum(off > APART)} of {len(done)} over {APART:.0%}; saturated {len(found.confirmations) - len(done)}; "
            f"command by tick {max(c.command_step_sd for c in done):.3f}: {word}")


def main() -> int:
    """0 when both claims hold on every rig."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    for name, default in (("--rigs", 20), ("--fingers", 50), ("--seed", 1), ("--first", 0)):
        parser.add_argument(name, type=int, default=default)
    parser.add_argument("--structure", action="append", help="only these; default: PID with lead")
    given = parser.parse_args()
    structures = tuple(given.structure or ("PID with lead",))
    broken, counts = 0, {"passed": 0, "failed by simulation": 0, "no settings": 0, "no clamp": 0}
    for number in range(given.first, given.first + given.rigs):
        base, settings = random_settings(np.random.default_rng([given.seed, number]))
        began = time.process_time()
        try:
            found = tuned(load_rig(base, settings), given.fingers, given.seed, structures)
        except InputError as error:
            counts["no clamp"] += 1
            print(f"{number:2d} {base} {' '.join(settings)}: {error}", flush=True)
            continue
        kind = "passed" if found.passed else "failed by simulation" if found.tuned.kept else "no settings"
        counts[kind] += 1
        saturated = any(c.status != "done" for c in found.confirmations)
        apart = any(c.broken for c in found.confirmations)
        broken += found.passed and (saturated or apart)
        print(f"{number:2d} {base} {' '.join(settings)}\n   {line_of(found)}  [{time.process_time() - began:.0f} s]",
              flush=True)
        for c in found.broken[:3]:
            print(f"      {c.finger}: {c.broken}", flush=True)
    print(", ".join(f"{word}: {count}" for word, count in counts.items()), f"; claims broken on {broken}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
