"""Variation of stroke volume with the breath as it is read of virtual people who were not fitted on.

    python -m tests.studies.breath_variation --people 100 --first 6000             # a perfect clamp, half a minute
    python -m tests.studies.breath_variation --people 30 --first 6000 --rig wrist  # through a rig, a minute

Told are errors in points, by one gain for all (the median ratio of those people themselves: a lower bound of its error)
and by the gain of each stretch, the share within ± 0.5, what the intervals hold, and what is read of somebody who does
not breathe at all.
"""
import argparse

import numpy as np

from experiments.readings.beats.stream import beats_of
from experiments.readings.chain.truth import strokes_at
from experiments.readings.fitted.breath import drawn_rhythm
from experiments.readings.fitted.breath_law import shipped_breath
from experiments.readings.output.breath_gain import breath_features, breath_gain
from experiments.readings.output.estimators import ESTIMATORS
from experiments.readings.output.interval import NORMAL_90
from experiments.readings.output.variation import Ventilation, fit_percent, scaled, variation
from experiments.readings.people.wearer import wearer_of
from experiments.readings.servo.inverse import undone
from experiments.readings.servo.rig_servo import rig_servo
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import Plan, simulate
from plant.circulation.person import drawn_person
from plant.circulation.person_pressure import PersonRecord, person_record
from plant.finger.artery import unloaded_pressure

RIG_s, SETTLE_s = 1e-3, 9.0


def pressure(record: PersonRecord, rig_name: str) -> tuple[np.ndarray, float]:
    """Finger pressure as it is read, what the servo did taken back, and when that begins."""
    if not rig_name:
        return undone(record.finger_mmHg, record.period_s, None), 0.0
    rig = load_rig(rig_name)
    done = simulate(rig, record.trace("person"), Plan(settle_s=SETTLE_s), 1)
    first = int(np.flatnonzero(done.counted)[0])
    read = done.channels["reading_mmHg"][first:] + unloaded_pressure(rig.plant.artery, rig.tone.level)
    return undone(read, RIG_s, rig_servo(rig, float(np.mean(read)))), first * RIG_s


def one(seed: int, rig_name: str, still: bool, seconds: float) -> tuple[float, float, float, float]:
    """True variation, that of the estimator, that after the gain, and its standard error."""
    person, state = drawn_person(seed)
    rhythm = drawn_rhythm(seed)
    if still:
        rhythm = rhythm._replace(breath_volume=0.0, breath_interval=0.0)
    period_s = RIG_s if rig_name else 4e-3
    record = person_record(person, state, rhythm, period_s, seconds + (2.0 + SETTLE_s if rig_name else 0.0), seed)
    wave, start_s = pressure(record, rig_name)
    beats, rate = beats_of(wave, period_s), rhythm.breaths_per_min
    true = strokes_at(record, beats.onset_s + start_s)
    kept = beats.counts & np.isfinite(true)
    found = variation(beats.onset_s, ESTIMATORS["Liljestrand–Zander"](beats), kept, Ventilation(True, 8.0, True, rate))
    law = shipped_breath()
    gained = scaled(found, breath_gain(law, *breath_features(beats, kept, rate / 60.0, wearer_of(person))), law.sd)
    return (fit_percent(beats.onset_s[kept], true[kept], rate / 60.0)[0], found.fit_percent, gained.fit_percent,
            gained.sd_percent)


def main() -> None:
    """See above."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, default=100)
    parser.add_argument("--first", type=int, default=6000)
    parser.add_argument("--rig", default="")
    parser.add_argument("--seconds", type=float, default=45.0)
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.people)
    true, read, gained, sd = np.array([one(seed, asked.rig, False, asked.seconds) for seed in seeds]).T
    kept = (true >= 5.0) & (true <= 20.0)
    for name, values in (("no gain", read), ("one gain", np.median(true / read) * read), ("own gain", gained)):
        off = (values - true)[kept]
        print(f"{name}: {np.mean(off):+.2f} ± {np.std(off, ddof=1):.2f} points, {np.mean(np.abs(off) <= 0.5):.0%} "
              f"within 0.5, at most {np.max(np.abs(off)):.2f} ({len(off)} people, {true[kept].min():.1f} to "
              f"{true[kept].max():.1f} %)")
    print(f"the interval holds {np.mean(np.abs(gained - true)[kept] <= NORMAL_90 * sd[kept]):.0%}")
    still = np.array([one(seed, asked.rig, True, asked.seconds) for seed in list(seeds)[:20]])
    print(f"without breathing {np.mean(still[:, 2]):.2f} % is read, at most {np.max(still[:, 2]):.2f}; true "
          f"{np.mean(still[:, 0]):.2f}, at most {np.max(still[:, 0]):.2f}")


if __name__ == "__main__":
    main()
