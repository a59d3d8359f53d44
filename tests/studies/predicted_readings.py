"""What a rig does to readings, predicted by its loop's gains and run in time, on virtual people.

    python -m tests.studies.predicted_readings --people 12 --first 5000      # a minute of one core

Each person, at rest and exerted or bleeding (every other one), is clamped by either built-in rig with the true set
point and without breathing; of the last 14 s the mean reading and, about it, systolic and diastolic pressure and output
by Liljestrand–Zander are held against what T(jω) alone predicts, and against the same with the loop's curved laws.
"""
import argparse

import numpy as np

from experiments.readings.beats.stream import beats_of
from experiments.readings.limits.propagate import differences
from experiments.readings.limits.rig_loop import rig_loop
from experiments.readings.limits.waves import Waves, waves_of
from experiments.readings.people.population import STATES, changed
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import Plan, simulate
from plant.circulation.heartbeats import Rhythm
from plant.circulation.person import drawn_person
from plant.circulation.person_pressure import person_record
from plant.circulation.state import steady_state
from plant.finger.artery import unloaded_pressure

STILL = Rhythm(15.0, 0.0, 0.0, 0.0)
SECONDS, READ_s = 25.0, 14.0
NAMES = ("mean", "systolic", "diastolic", "output")
RIGS = ("wrist", "cabinet")


def seen(waves: Waves, followed: np.ndarray) -> np.ndarray:
    """Changes of NAMES by a beat as it is followed, the mean taken out of the others."""
    plain = waves.pressure_mmHg()
    shift = float(np.mean(followed) - np.mean(plain))
    found = differences(plain, followed - shift)
    return np.array([shift, found.systolic_mmHg[0], found.diastolic_mmHg[0], found.output_percent[0]])


def run(rig, record) -> np.ndarray:
    """The same of a run in time."""
    done = simulate(rig, record.trace("person"), Plan(), 1)
    last = np.flatnonzero(done.counted)[-round(READ_s / rig.timing.period_s) :]
    read = beats_of(done.channels["cuff_mmHg"][last], rig.timing.period_s)
    true = beats_of(record.finger_mmHg[last], rig.timing.period_s)
    level = np.mean(read.mean_mmHg) - np.mean(true.mean_mmHg)
    (top, foot), (tops, feet) = ((np.mean(b.systolic_mmHg) - off, np.mean(b.diastolic_mmHg) - off)
                                 for b, off in ((true, 0.0), (read, level)))
    output = 100.0 * ((tops - feet) / (tops + feet) / ((top - foot) / (top + foot)) - 1.0)
    return np.array([level + unloaded_pressure(rig.plant.artery, rig.tone.level), tops - top, feet - foot, output])


def main() -> None:
    """See above."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, default=12)
    parser.add_argument("--first", type=int, default=5000)
    asked = parser.parse_args()
    rows = {name: [] for name in RIGS}
    for seed in range(asked.first, asked.first + asked.people):
        person, rest = drawn_person(seed)
        for number in (0, 7 + seed % 2):
            state = changed(person, rest, *STATES[number][1:])
            record = person_record(person, state, STILL, 1e-3, SECONDS, seed)
            finger = steady_state(person, state).finger_mmHg + person.gradient_mmHg
            waves = waves_of(np.array([60.0 / state.rate_per_min]), finger[None, :])
            for name in RIGS:
                rig = load_rig(name)
                loop = rig_loop(rig, float(np.mean(finger)))
                linear = waves.pressure_mmHg(loop.response(waves.frequency_Hz))
                rows[name].append((run(rig, record), seen(waves, linear), seen(waves, loop.followed_mmHg(waves))))
    for name, found in rows.items():
        table = np.array(found)
        ends = zip(NAMES, table[:, 0].min(axis=0), table[:, 0].max(axis=0), strict=True)
        print(f"{name}, {len(table)} states; the run: "
              + ", ".join(f"{what} {low:+.2f} … {high:+.2f}" for what, low, high in ends))
        for way, column in (("T(jω)", 1), ("with curved laws", 2)):
            off = table[:, column] - table[:, 0]
            within = np.all(np.abs(off) <= [0.2, 0.2, 0.2, 0.5], axis=1)
            print(f"  {way}: " + ", ".join(f"{what} {np.mean(e):+.2f} ± {np.std(e, ddof=1):.2f}, at most "
                                           f"{np.max(np.abs(e)):.2f}" for what, e in zip(NAMES, off.T, strict=True))
                  + f"; {np.mean(within):.0%} of states within 0.2 mmHg and 0.5 %")


if __name__ == "__main__":
    main()
