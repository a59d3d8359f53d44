"""Random rigs recorded on a virtual bench and identified: does the fit arrive, do its intervals hold, do margins agree.

    python -m tests.studies.identified_rigs --rigs 200 --out rigs.jsonl   # of each of four kinds: 3 s of one core a rig
    python -m tests.studies.identified_rigs --untold 100        # numbers that cannot be told apart by construction

Of one rig all numbers share the error of its measured volume, so that sixty rigs are not six hundred intervals;
--volume-sd 0 holds the true volume instead and judges what the recordings alone say, made independent by their joint
covariance. With --out it goes on where it was stopped: what the file holds is not done again.
"""
from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

from controller.margins.crossings import loop_at
from controller.margins.loop import sampled
from experiments.check.judged import judge_loops, worst_of
from experiments.identify.excite.recipe import pieces_for
from experiments.identify.fit.choose import free_for
from experiments.identify.fit.problem import Problem
from experiments.identify.fit.study import Held, identify
from experiments.identify.outcome.margins import figures_of
from experiments.identify.outcome.rig_file import with_values
from experiments.identify.recording.recording import Recording, resting_samples, usual_noise
from experiments.identify.replay.candidates import bench_of, free_of, value_of
from experiments.identify.replay.virtual import play
from experiments.rigs.rig import Rig, load_rig, read_rig

KINDS = {"wrist": ("wrist", []), "wrist without tube": ("wrist", ["tube.kind=none"]),
         "cabinet": ("cabinet", []), "cabinet without tube": ("cabinet", ["tube.kind=none"])}
PARTS = ("valve", "tube", "cuff", "transducer", "timing")
SPREAD, STARTS, VOLUME_SD = 0.3, 0.5, 0.02  # of true values; of starts about them; of the measured volume
CRITICAL_MOST = 0.55


def recorded(rig: Rig, pieces: Any, seed: int) -> tuple[Recording, ...]:
    """What the rig records of the pieces; noise as told at rest."""
    made = []
    for i, piece in enumerate(pieces):
        channels = play(rig, piece.command, piece.period_s, seed=seed + 10 * i)
        made.append(Recording(piece.played, piece.played, piece.period_s, piece.command, channels, {}))
    told = [usual_noise(one.channels["reading_mmHg"], resting_samples(one.command)) for one in made]
    noise = float(np.sqrt(np.average([sd * sd for sd, _ in told], weights=[n for _, n in told])))
    return tuple(one._replace(noise={"reading_mmHg": noise}) for one in made)


def one_rig(kind: str, seed: int, volume_sd: float = VOLUME_SD) -> dict[str, Any]:
    """A random rig of a kind, identified from a believed one that is off by up to half."""
    name, settings = KINDS[kind]
    source = read_rig(name, settings)
    base = source.rig()
    random = np.random.Generator(np.random.PCG64([seed, list(KINDS).index(kind)]))
    free = free_for(base, PARTS)
    limits = {"valve.critical_ratio": CRITICAL_MOST}
    true = [min(value_of(base, f.name) * float(np.exp(random.uniform(np.log1p(-SPREAD), np.log1p(SPREAD)))),
                limits.get(f.name, np.inf)) for f in free]
    truth = with_values(source, [f.name for f in free], true)
    off = [float(np.clip(v * (1.0 + random.uniform(-STARTS, STARTS)), f.low, f.high))
           for f, v in zip(free, true, strict=True)]
    off = [min(v, limits.get(f.name, np.inf)) for f, v in zip(free, off, strict=True)]
    believed = with_values(source, [f.name for f in free], off).rig()
    volume = free_of(base, "cuff.volume_mL")
    true_mL = value_of(base, "cuff.volume_mL")
    measured = true_mL * (1.0 + volume_sd * float(random.standard_normal()))
    recordings = recorded(truth.rig(), pieces_for(base, PARTS, 300.0, 5000.0), 1000 * seed + 1)
    problem = Problem(bench_of(believed), tuple(free), ((volume, measured),), recordings)
    began = time.process_time()
    found = identify(problem, [Held(volume, measured, volume_sd * true_mL, False)], seed, full=False)
    seconds = time.process_time() - began
    z = [(one.value - v) / one.sd for one, v in zip(found.found, true, strict=True)]
    values = [one.value for one in found.found]
    off_by = np.array([f.inside(one.value) - f.inside(v) for f, one, v in zip(free, found.found, true, strict=True)])
    part = found.covariance[: len(free), : len(free)]
    independent = np.linalg.solve(np.linalg.cholesky(part), off_by) if np.all(np.isfinite(part)) else off_by * np.nan
    guess = with_values(source, [*(f.name for f in free), volume.name], [*values, measured]).rig()
    return {
        "kind": kind, "seed": seed, "fits": found.fits, "all_told": found.all_told, "cpu_s": seconds,
        "starts": found.tried_starts, "evaluations": found.solution.evaluations, "z": z,
        "independent": independent.tolist(), "volume_sd": volume_sd,
        "error": {f.name: one.value / v - 1.0 for f, one, v in zip(free, found.found, true, strict=True)},
        "worst_ratio": max(left.ratio for left in found.leftovers), "pull": list(found.pulls),
        **against_truth(truth.rig(), guess),
    }


def against_truth(truth: Rig, guess: Rig) -> dict[str, Any]:
    """Margins of both, and the difference of their loops' phases at the true crossover [deg].

    The firmware is that of the rig that was found, on either plant: it is what one has designed, and what then runs.
    """
    truth = truth._replace(stage=guess.stage)
    worst, other = (worst_of(judge_loops(rig, {"": 90.0})) for rig in (truth, guess))
    if not worst.margins.stable or not np.isfinite(worst.margins.crossover_Hz):
        return {"stable": False}
    omega = 2.0 * np.pi * worst.margins.crossover_Hz
    turn = loop_at(sampled(other.loop), other.loop.coefficients, omega) / loop_at(
        sampled(worst.loop), worst.loop.coefficients, omega)
    return {"stable": True, "phase_deg": float(np.degrees(np.angle(turn))), "true": figures_of(truth),
            "found": figures_of(guess)}


def one_untold(which: str, seed: int) -> dict[str, Any]:
    """A rig whose numbers cannot be told apart by construction: is it said of both?"""
    random = np.random.Generator(np.random.PCG64([seed, 99]))
    if which == "two lags in series":
        settings = ["tube.kind=none", "cuff.gap_mm=0.0", "cuff.growth_mL=0.0", "valve.flow_limit_mL_s=10000.0",
                    f"transducer.bandwidth_Hz={random.uniform(20.0, 120.0):.6g}",
                    f"valve.outlet_resistance_mmHg_s_mL={random.uniform(0.5, 3.0):.6g}"]
        rig, names = load_rig("cabinet", settings), ("valve.outlet_resistance_mmHg_s_mL", "transducer.bandwidth_Hz")
    else:
        settings = [f"valve.conductance={random.uniform(0.02, 0.08):.6g}",
                    f"supply.pressure_mmHg={random.uniform(900.0, 1100.0):.6g}"]
        rig, names = load_rig("wrist", settings), ("valve.conductance", "supply.pressure_mmHg")
    pieces = [piece for piece in pieces_for(rig, ("timing",), 250.0, 2000.0) if piece.played == "click"]
    volume = free_of(rig, "cuff.volume_mL")
    problem = Problem(bench_of(rig), tuple(free_of(rig, n) for n in names), ((volume, 2.5),),
                      recorded(rig, pieces, seed))
    found = identify(problem, [Held(volume, 2.5, 0.05, False)], seed, full=False)
    return {"kind": which, "seed": seed, "said": not any(one.told for one in found.found),
            "twin": found.twin is not None}


def summary(rows: list[dict[str, Any]]) -> str:
    """What one kind comes to."""
    z = np.abs(np.concatenate([row["z"] for row in rows if row["fits"]]))
    stable = [row for row in rows if row["stable"]]
    ratio = [abs(row["found"][k] / row["true"][k] - 1.0) for row in stable
             for k in ("phase_margin_deg", "modulus_margin")]
    names = rows[0]["error"]
    lines = [f"{rows[0]['kind']}: {len(rows)} rigs; at the noise floor {sum(row['fits'] for row in rows)}; all told "
             f"{sum(row['all_told'] for row in rows)}; CPU median {np.median([r['cpu_s'] for r in rows]):.1f} s, most "
             f"{max(r['cpu_s'] for r in rows):.1f} s; first start {sum(row['starts'] == 1 for row in rows)}",
             f"  95 % intervals hold {100.0 * np.mean(z < 1.96):.1f} % of {len(z)}; phase at crossover at most "
             f"{max((abs(r['phase_deg']) for r in stable), default=np.nan):.4f}° ({len(stable)} stable); phase and "
             f"modulus margins off by at most {100.0 * max(ratio, default=np.nan):.4f} %"]
    if all(row.get("volume_sd") == 0.0 for row in rows):
        sharp = np.abs(np.concatenate([row["independent"] for row in rows if row["fits"]]))
        lines.append(f"  independent errors, by the recordings' joint covariance: {100.0 * np.mean(sharp < 1.96):.1f}"
                     f" % of {len(sharp)} within 1.96, rms {np.sqrt(np.mean(sharp**2)):.3f}")
    fitted = [row for row in rows if row["fits"]]
    of_each = np.array([row["z"] for row in fitted])
    lines += [f"    {name:<36} error median {100.0 * np.median([abs(r['error'][name]) for r in rows]):.4f} %, largest "
              f"{100.0 * max(abs(r['error'][name]) for r in rows):.3f} %; interval holds "
              f"{100.0 * np.mean(np.abs(of_each[:, k]) < 1.96):.0f} %, z mean {np.mean(of_each[:, k]):+.2f} SD "
              f"{np.std(of_each[:, k]):.2f}" for k, name in enumerate(names)]
    return "\n".join(lines)


def read_rows(path: Path | None) -> dict[tuple[str, int], dict[str, Any]]:
    """What a file holds by now, by kind and seed; a line that was cut short is left out."""
    rows = {}
    for line in path.read_text().splitlines() if path is not None and path.exists() else []:
        try:
            row = json.loads(line)
        except ValueError:
            continue
        rows[row["kind"], row["seed"]] = row
    return rows


def main() -> None:
    """One line of JSON a rig, then a summary of each kind on standard error."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rigs", type=int, default=0)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--kind", choices=list(KINDS), default=None)
    parser.add_argument("--untold", type=int, default=0)
    parser.add_argument("--volume-sd", type=float, default=VOLUME_SD)
    parser.add_argument("--out", type=Path, default=None)
    asked = parser.parse_args()
    done = read_rows(asked.out)
    for seed in range(asked.first, asked.first + asked.rigs):  # all kinds side by side: stopped early, all have as many
        for kind in [asked.kind] if asked.kind else KINDS:
            if (kind, seed) not in done:
                done[kind, seed] = one_rig(kind, seed, asked.volume_sd)
                line = json.dumps(done[kind, seed])
                if asked.out is None:
                    print(line, flush=True)
                else:
                    with asked.out.open("a") as file:
                        file.write(line + "\n")
    for kind in KINDS:
        rows = [row for (own, _), row in sorted(done.items()) if own == kind]
        if rows:
            print(summary(rows), file=sys.stderr, flush=True)
    for which in ("two lags in series", "conductance against supply"):
        said = [one_untold(which, seed) for seed in range(asked.untold)]
        if said:
            print(f"{which}: said in {sum(one['said'] for one in said)} of {len(said)}; another set of values found in "
                  f"{sum(one['twin'] for one in said)}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
