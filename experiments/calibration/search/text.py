"""What people and programs read of a study of searches: lines and JSON."""
from __future__ import annotations

import math
import shlex
from typing import Any

from experiments.calibration.search.crossovers import Spread
from experiments.calibration.search.piece import FOUND, Plan, Row
from experiments.calibration.search.study import Study
from experiments.calibration.search.summary import (
    MIDDLE,
    OWN,
    OUTLIER_mmHg,
    Summary,
    crossover_spreads,
    narrowing,
    summaries,
)
from experiments.calibration.search.trial import FEWEST_STEPS
from experiments.subjects.finger import DEFECTS
from experiments.work.output import CAUTION


def study_lines(study: Study) -> list[str]:
    """The whole study on one screen."""
    plan, rows = study
    found = summaries(rows)
    width = max(12, *(len(s.strategy) for s in found)) + 2
    lines = [
        f"set-point searches of {plan.rig} on {plan.fingers} fingers (group {plan.group}, seed {plan.seed}) and "
        f"{plan.spoiled} of each spoiled kind", f"{plan.substeps} Runge–Kutta steps a tick", "",
        f"{'':<{width}}{'error of the set point, mmHg transmural':<48}{'in its':>7}{'no set':>8}"
        f"{'first waveform':>18}{'set point':>16}",
        f"{'strategy':<{width}}{'median':>8}{'95 %':>8}{'99 %':>8}{'worst':>8}{'bias':>8}{'> ' + _g(OUTLIER_mmHg):>8}"
        f"{'90 %':>7}{'point':>8}{'median':>10}{'95 %':>8}{'median':>9}{'95 %':>7}",
    ]
    for s in found:
        errors = "".join(f"{_two(v):>8}" for v in (s.median_mmHg, s.p95_mmHg, s.p99_mmHg, s.largest_mmHg))
        bias = f"{s.bias_mmHg:+.2f}" if math.isfinite(s.bias_mmHg) else "–"
        lines.append(
            f"{s.strategy:<{width}}{errors}{bias:>8}{s.outliers:>8}{_percent(s.inside):>7}{_percent(s.declared_share):>8}"
            f"{_one(s.first_waveform_median_s) + ' s':>10}{_one(s.first_waveform_p95_s) + ' s':>8}"
            f"{_one(s.search_median_s) + ' s':>9}{_one(s.search_p95_s) + ' s':>7}")
    lines += ["", *_worst_lines(plan, found), *_failure_lines(found, width), "", *_slope_lines(found, width), "",
              *_crossover_lines(rows, width)]
    lines += ["", CAUTION]
    return lines


def _worst_lines(plan: Plan, found: list[Summary]) -> list[str]:
    lines = ["the worst finger of each, to be looked at:"]
    sets = " ".join(f"--set {shlex.quote(s)}" for s in plan.settings)
    steps = f" --substeps {plan.substeps}" if plan.substeps != FEWEST_STEPS else ""
    for s in found:
        if s.worst:
            command = f"cuffloop search {plan.rig} --finger {s.worst} --strategy {shlex.quote(s.strategy)}"
            lines.append(f"  {_two(s.largest_mmHg):>6} mmHg  {command}{steps}{' ' + sets if sets else ''}")
    return lines


def _failure_lines(found: list[Summary], width: int) -> list[str]:
    spoiled = [d for d in DEFECTS if any(d in s.unmeasurable for s in found)]
    heads = "".join(f"{d.replace('_', ' '):>18}" for d in spoiled)
    lines = ["", f"{'declared failures':<{width + 6}}{'measurable fingers':>19}{heads}"]
    for s in found:
        cells = [sum(s.unmeasurable[d].values()) for d in spoiled]
        caught = [total - s.unmeasurable[d].get(FOUND, 0) for d, total in zip(spoiled, cells, strict=True)]
        lines.append(f"{s.strategy:<{width + 6}}{f'{s.fingers - s.found} of {s.fingers}':>19}" + "".join(
            f"{f'{some} of {total}':>18}" for some, total in zip(caught, cells, strict=True)))
    for s in found:
        lines += [f"  {s.strategy}: {reason} on {_few(names)}" for reason, names in s.failures.items()]
    return lines


def _slope_lines(found: list[Summary], width: int) -> list[str]:
    heads = "".join(f"{head:>8}" for head in ("median", "95 %", "99 %"))
    lines = ["light slope found, off the mean one in the clamp that follows (by logarithm)", f"{'':<{width}}{heads}"]
    for s in found:
        shares = (s.slope_median, s.slope_p95, s.slope_p99)
        lines.append(f"{s.strategy:<{width}}" + "".join(f"{f'{100 * v:.1f} %' if v == v else '–':>8}" for v in shares))
    return lines


def _crossover_lines(rows: list[Row], width: int) -> list[str]:
    spreads = crossover_spreads(rows)
    strategies = {r.strategy for r in rows}
    wide = max(width + 15, 37)
    lines = [f"{'':<{wide + 51}}{'narrower than with one':>29}",
             f"{'crossover, by light slope':<{wide}}{'5 … 95 % of fingers':>20}{'ratio':>7}{'SD of log':>10}"
             f"{'unstable':>14}{'middle finger':>16}{'own finger':>13}"]
    for name, spread in spreads.items():
        label, told = name, ""
        if name in strategies:
            label = f"slope found by {name}"
            by = (narrowing(spreads, name, fixed)[0] for fixed in (MIDDLE, OWN))
            told = "".join(f"{_one(v) + ' ×':>{w}}" for v, w in zip(by, (16, 13), strict=True))
        unstable = f"{spread.unstable}" + (f" + {spread.without} none" if spread.without else "")
        lines.append(f"{label:<{wide}}{_range(spread):>20}{_two(spread.ratio):>7}{_three(spread.sd_log):>10}"
                     f"{unstable:>14}{told}")
    lines.append("(narrower: by SD of the logarithm; unstable loops count in the spread by their lowest crossover)")
    return lines


def _range(spread: Spread) -> str:
    return f"{spread.low_Hz:.1f} … {spread.high_Hz:.1f} Hz" if math.isfinite(spread.low_Hz) else "–"


def _few(names: list[str]) -> str:
    return ", ".join(names[:3]) + (", …" if len(names) > 3 else "")


def _g(value: float) -> str:
    return f"{value:g}"


def _one(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else "–"


def _two(value: float) -> str:
    return "–" if math.isnan(value) else "∞" if math.isinf(value) else f"{value:.2f}"


def _three(value: float) -> str:
    return f"{value:.3f}" if math.isfinite(value) else "–"


def _percent(share: float) -> str:
    if not math.isfinite(share):
        return "–"
    return f"{100 * share:.1f} %" if 0.0 < share < 0.1 or 0.9 < share < 1.0 else f"{100 * share:.0f} %"


def study_json(study: Study) -> dict[str, Any]:
    """The figures of the table as plain data."""
    plan, rows = study
    spreads = crossover_spreads(rows)
    told = []
    for s in summaries(rows):
        by = {fixed: narrowing(spreads, s.strategy, fixed) for fixed in (MIDDLE, OWN)}
        told.append({
            **s._asdict(), "declared_share": s.declared_share,
            "caught_share": {d: s.caught_share(d) for d in DEFECTS if d in s.unmeasurable},
            "crossover_narrower": {k: {"by_sd_of_log": v[0], "by_log_of_ratio": v[1]} for k, v in by.items()},
        })
    return {
        "plan": plan._asdict(), "outlier_mmHg": OUTLIER_mmHg, "strategies": told,
        "crossovers": {name: {**spread._asdict(), "ratio": spread.ratio} for name, spread in spreads.items()},
    }
