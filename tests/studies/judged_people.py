"""Readings of virtual people who took no part in any choice, in nine states each, against the truth.

    python -m tests.studies.judged_people --people 300     # a minute of one core; 1200 people tell shares better

Told are errors of the upper arm, percentage errors of output by all estimators, what the figure of Liljestrand–Zander
after a reference hangs on, and the shares that 90 % intervals hold in each decade of age with their standard errors.
"""
import argparse
from typing import NamedTuple

import numpy as np

from experiments.readings.arm.values import PRESSURES, finger_values
from experiments.readings.beats.stream import Beats
from experiments.readings.fitted.fit import (
    Seen,
    against_rest,
    beats_at,
    estimated_arm,
    feature_rows,
    people_of,
    raw_of,
    seen,
    truth_values,
    tube_errors,
)
from experiments.readings.fitted.store import shipped
from experiments.readings.output.estimators import ESTIMATORS, SHAPE
from experiments.readings.output.interval import NORMAL_90
from experiments.readings.output.stroke import DECADES, decade
from experiments.readings.people.judged import coverage, errors, percentage_error
from experiments.readings.people.population import CLAIMED_SEEDS, STATES, cases_of

LZ = "Liljestrand–Zander"


class Judged(NamedTuple):
    """Cases, what is seen of them, and truths."""

    cases: list[Seen]
    beats: Beats
    ages: np.ndarray
    stroke_mL: np.ndarray
    output_L_min: np.ndarray


def judged(seeds) -> Judged:
    cases = [seen(case) for seed in seeds for case in cases_of(seed)]
    stroke = np.array([one.stroke_mL for one in cases])
    return Judged(cases, beats_at([one.finger_mmHg for one in cases], cases),
                  np.array([one.wearer.age_years for one in cases]), stroke,
                  stroke * 60e-3 / np.array([one.interval_s for one in cases]))


def arm_errors(people: Judged) -> np.ndarray:
    """Of the law, (cases, 3)."""
    rows = feature_rows(people.beats, people.cases)
    return finger_values(people.beats) + rows @ shipped().arm.T - truth_values(people.cases)


def wave_rms_mmHg(people: Judged) -> float:
    """Of the filter, about the mean."""
    return float(np.sqrt(np.mean([np.var(estimated_arm(shipped().transfer, one) - one.arm_mmHg)
                                  for one in people.cases])))


def log_errors(people: Judged, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Logarithms of estimated over true stroke volume: absolute, and as change since rest."""
    law, true = shipped().laws[name], np.log(people.stroke_mL)
    build = np.array([one.wearer.build for one in people.cases])
    absolute = np.log(raw_of(name, law, people.beats, people.cases, False)) + build @ law.build - true
    change = np.log(raw_of(name, law, people.beats, people.cases, True)) - true
    return absolute, against_rest(people.cases, change)


def output_error(people: Judged, log_error: np.ndarray) -> float:
    """Percentage error of output, of what is finite."""
    return percentage_error(people.output_L_min * np.exp(log_error), people.output_L_min)


def shares(people: Judged) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """What 90 % intervals hold in each decade by reading, and the standard error of that, a person being one draw."""
    held, arm = shipped(), arm_errors(people)
    told = {}
    for k, name in enumerate(PRESSURES):
        told[name] = arm[:, k], held.pressure_sd_mmHg[name]
        told[f"{name}, change"] = against_rest(people.cases, arm[:, k]), held.pressure_change_sd_mmHg[name]
    for name in (LZ, SHAPE):
        absolute, change = log_errors(people, name)
        told[f"output by {name}"] = absolute, held.laws[name].absolute_sd
        told[f"output by {name}, change"] = change, held.laws[name].change_sd
    number = np.array([decade(age) for age in people.ages])
    found = {}
    for name, (error, sd) in told.items():
        inside = np.where(np.isfinite(error), np.abs(error) <= NORMAL_90 * sd[number], np.nan)
        own = np.nanmean(inside.reshape(-1, len(STATES)), axis=1)
        first = number[:: len(STATES)]
        spread = [float(np.std(own[first == d], ddof=1) / np.sqrt(np.sum(first == d))) for d in range(len(sd))]
        found[name] = coverage(error, sd[number], people.ages, DECADES, NORMAL_90), np.array(spread)
    return found


def zander_lines(people: Judged) -> list[str]:
    """What the percentage error of Liljestrand–Zander after a reference hangs on."""
    number = np.array([one.number for one in people.cases])
    plain = np.log(ESTIMATORS[LZ](people.beats)) - np.log(people.stroke_mL)
    published, fitted = against_rest(people.cases, plain), log_errors(people, LZ)[1]
    whose = np.unique(people_of(people.cases), return_inverse=True)[1]
    middle = (np.bincount(whose, plain) / np.bincount(whose))[whose]
    lines = []
    for name, error in (("as published", published), ("with the exponent for change", fitted)):
        rest = np.where(np.isfinite(error), error, 0.0)
        one = np.where(number < 7, error, np.nan)
        lines.append(f"  {name}: {output_error(people, error):.1f} % in the eight states after the reference, "
                     f"{output_error(people, rest):.1f} with the reference's own among them, "
                     f"{output_error(people, one):.1f} where one thing changes")
        lines.append("    " + ", ".join(f"{STATES[k][0]} {100 * np.mean(error[number == k]):+.1f} ± "
                                        f"{100 * np.std(error[number == k]):.1f}" for k in range(1, len(STATES))))
    lines.append(f"  as published, the reference the mean of all nine: {output_error(people, plain - middle):.1f} %")
    return lines


def lines_of(people: Judged) -> list[str]:
    """All of it."""
    arm, tube = arm_errors(people), tube_errors(people.cases)
    lines = [f"{len(people.cases) // len(STATES)} people, {len(people.cases)} states"]
    for k, name in enumerate(PRESSURES):
        law, moved = errors(arm[:, k]), errors(against_rest(people.cases, arm[:, k]))
        way = errors(tube[:, k])
        lines.append(f"  {name}: law {law.mean:+.2f} ± {law.sd:.2f}, after a reference ± {moved.sd:.2f}, tube "
                     f"{way.mean:+.1f} ± {way.sd:.1f} mmHg")
    lines.append(f"  wave {wave_rms_mmHg(people):.2f} mmHg rms")
    for name in (*ESTIMATORS, SHAPE):
        absolute, change = log_errors(people, name)
        lines.append(f"  output by {name}: absolute {output_error(people, absolute):.1f} %, after a reference "
                     f"{output_error(people, change):.1f} %")
    same = np.full(len(people.output_L_min), np.mean(people.output_L_min))
    lines.append(f"  a constant: {percentage_error(same, people.output_L_min):.1f} %")
    lines += [f"{LZ} after a reference", *zander_lines(people), "shares that 90 % intervals hold, by decade from 20 on"]
    table = shares(people)
    for name, (share, error) in table.items():
        cells = (f"{100 * s:5.1f}±{100 * e:.1f}" for s, e in zip(share, error, strict=True))
        lines.append(f"  {name:<38}" + " ".join(cells))
    cells = np.array([share for share, _ in table.values()])
    lines.append(f"  {np.sum(np.abs(cells - 0.9) <= 0.05)} of {cells.size} within 85 to 95 %, from "
                 f"{100 * cells.min():.1f} to {100 * cells.max():.1f}")
    return lines


def main() -> None:
    """See above."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, default=300)
    parser.add_argument("--first", type=int, default=CLAIMED_SEEDS[0])
    asked = parser.parse_args()
    print("\n".join(lines_of(judged(range(asked.first, asked.first + asked.people)))))


if __name__ == "__main__":
    main()
