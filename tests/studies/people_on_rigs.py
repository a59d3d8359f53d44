"""Virtual people through a rig whose set point a search found, beside a perfect clamp of the same pressure.

    python -m tests.studies.people_on_rigs --people 10 --first 1000 --out people.jsonl      # half a minute
    python -m tests.studies.people_on_rigs --sum people.jsonl

Each person, none of whom was fitted on, is at rest, and exerted or bleeding (every other one), 60 s each with a search
of its own on either built-in rig; the stroke volume at rest is the reference of the other state. Told are percentage
errors of output, after that reference and without any, by both ways, and errors of the upper arm's pressures.
"""
import argparse
import json
from pathlib import Path

import numpy as np

from calibrate.schedule.names import SCHEDULES
from experiments.calibration.schedule.piece import SparseInputs
from experiments.readings.output.estimators import SHAPE
from experiments.readings.people.judged import percentage_error
from experiments.readings.people.population import STATES, changed
from experiments.rigs.rig import Rig, load_rig
from experiments.trend.hour import READ_s, Told, Wanted, arm_truth, places, read, run_hour
from plant.circulation.heartbeats import Rhythm
from plant.circulation.person import drawn_person
from plant.circulation.person_name import Named
from plant.circulation.person_pressure import person_record, toned
from plant.finger.artery import unloaded_pressure
from plant.pressure.resample import resample
from plant.scenarios.person_story import PersonStory, RECORD_s
from plant.scenarios.scenario import Circulation

ESTIMATORS = ("Liljestrand–Zander", SHAPE)
REST, EXERTION = 0, 7  # of STATES; bleeding follows
SECONDS = 60.0
RIGS = ("wrist", "cabinet")


def steady(who: Named, seed: int, rig: Rig) -> Told:
    """Somebody in whom nothing changes but from beat to beat."""
    record = person_record(who.person, who.state, who.rhythm, RECORD_s, SECONDS + 2.0 * RECORD_s, seed)
    period_s = rig.timing.period_s
    time = np.arange(round(SECONDS / period_s) + 1) * period_s
    finger = resample(record.finger_mmHg, time / RECORD_s, period_s / RECORD_s)
    still = np.zeros(len(time))
    tone, light = still + rig.tone.level, still + rig.plant.light.ambient
    course = toned(np.array([0.0, SECONDS]), np.zeros(2))
    story = PersonStory(Circulation(finger, finger, tone, light, still, [], []), record, course)
    single = SparseInputs(*(v.astype(np.float32) for v in (finger, tone, light)))
    return Told(story, single, record.beats.opening_s[:-1], record.beats.stroke_mL, arm_truth(record))


def one(rig_name: str, who: Named, told: Told, seed: int, number: int) -> dict:
    """One person in one state: log of estimated over true stroke volume, absolute and before a reference."""
    rig = load_rig(rig_name)
    row = {"rig": rig_name, "seed": seed, "state": number}
    hour = None
    for name in ESTIMATORS:
        wanted = Wanted(rig, who, "quiet", SECONDS, seed, name)
        if hour is None:
            hour = run_hour(wanted, told, SCHEDULES["never"])
            if hour.found is None:
                return row | {"ended": hour.ended}
        first = hour.shown_s[0, 0]
        truth = told.story.circulation.arterial_mmHg
        factor = round(READ_s / rig.timing.period_s)
        whole = truth[: len(truth) // factor * factor].reshape(-1, factor).mean(axis=1)
        whole[: round(first / READ_s)] = np.nan
        p0 = float(unloaded_pressure(rig.plant.artery, rig.tone.level))
        perfect = read(wanted, whole - p0, READ_s, True)
        found = hour.found if name == ESTIMATORS[0] else None
        for way, seen in (("rig", found), ("perfect", perfect)):
            if seen is None:
                seen = read(wanted, hour.wave_mmHg, READ_s)
            row |= _errors(told, seen, f"{name} {way}")
            if name == ESTIMATORS[0]:
                place = places(told.opening_s, seen.beats.onset_s)
                good = seen.beats.counts & (place >= 0)
                row[f"arm {way}"] = np.nanmean((seen.arm_mmHg - told.arm_mmHg[place])[good], axis=0).tolist()
    return row


def _errors(told, seen, label: str) -> dict:
    from experiments.readings.fitted.store import shipped
    from experiments.readings.output.stroke import raw, stroke_mL

    place = places(told.opening_s, seen.beats.onset_s)
    good = seen.beats.counts & (place >= 0)
    true, name, wearer = told.stroke_mL[place], seen.known.estimator, seen.known.wearer
    law = shipped().laws[name]
    absolute, change = stroke_mL(name, law, seen.beats, wearer), raw(name, law, seen.beats, wearer, True)
    interval = np.mean(seen.beats.interval_s[good])
    return {"output": 60e-3 * float(np.nanmean(true[good])) / float(interval),
            f"{label} absolute": float(np.log(np.nanmean(absolute[good]) / np.nanmean(true[good]))),
            f"{label} change": float(np.log(np.nanmean(change[good]) / np.nanmean(true[good])))}


def summed(rows: list[dict]) -> list[str]:
    """Percentage errors of each rig, estimator and way."""
    lines = []
    for rig in dict.fromkeys(row["rig"] for row in rows):
        own = [row for row in rows if row["rig"] == rig]
        some = [row for row in own if "output" in row]
        rest = {row["seed"]: row for row in some if row["state"] == 0}
        later = [row for row in some if row["state"] != 0 and row["seed"] in rest]
        lines.append(f"{rig}: {len(rest)} people, {len(some)} of {len(own)} states read")
        for name in ESTIMATORS:
            for way in ("rig", "perfect"):
                output = np.array([row["output"] for row in some])
                off = np.array([row[f"{name} {way} absolute"] for row in some])
                changes = np.array([row["output"] for row in later])
                moved = np.array([row[f"{name} {way} change"] - rest[row["seed"]][f"{name} {way} change"]
                                  for row in later])
                large, small = (percentage_error(o * np.exp(e), o) for o, e in ((output, off), (changes, moved)))
                lines.append(f"  {name}, {way}: absolute {large:.1f} %, after a reference {small:.1f} %")
        for way in ("rig", "perfect"):
            arm = np.array([row[f"arm {way}"] for row in some])
            told = ", ".join(f"{np.mean(column):+.1f} ± {np.std(column, ddof=1):.1f}" for column in arm.T)
            lines.append(f"  upper arm, {way}: systolic, mean, diastolic {told} mmHg")
    return lines


def main() -> None:
    """See above."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, default=12)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--out", type=Path, default=Path("people.jsonl"))
    parser.add_argument("--sum", type=Path)
    asked = parser.parse_args()
    if asked.sum is None:
        with asked.out.open("a", encoding="utf-8") as file:
            for seed in range(asked.first, asked.first + asked.people):
                person, rest = drawn_person(seed)
                for number in (REST, EXERTION + seed % 2):
                    who = Named(person, changed(person, rest, *STATES[number][1:]), Rhythm())
                    told = steady(who, seed, load_rig(RIGS[0]))  # both have the same tick, tone and light
                    for name in RIGS:
                        file.write(json.dumps(one(name, who, told, seed, number)) + "\n")
                    file.flush()
    rows = [json.loads(line) for line in (asked.sum or asked.out).read_text(encoding="utf-8").splitlines()]
    print("\n".join(summed(rows)))


if __name__ == "__main__":
    main()
