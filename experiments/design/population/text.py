"""A rig on many fingers in words and as plain data."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.design.population.study import Judged, Reals, column, keeps_limit, kept, worst
from experiments.design.sweep.verdict import Limit
from experiments.work.output import CAUTION

MOST_SHOWN = 6  # fingers that break a limit


def population_lines(found: Judged) -> list[str]:
    """A row a limit: the worst finger, the middle one, and how many keep it; drawn rigs beside the one as it is."""
    plan, count = found.plan, len(found.plan.fingers)
    how = f"a run of {plan.seconds:g} s each" if plan.simulated else "margins at the true light slope; nothing was run"
    lines = [f"{plan.source.tables.get('name', '')} on {count} fingers ({plan.fingers[0].group}), {how}"]
    if found.uncertain is not None:
        jointly = ", jointly" if found.uncertain.joint else ""
        lines.append(f"  each finger on a rig of its own, drawn within [spread]: {len(found.uncertain.names)} "
                     f"numbers{jointly}; firmware as the file has it")
    head = f"  {'limit':<38}{'worst':>9}{'median':>9}{'kept by':>10}  {'worst finger':<18}"
    if found.drawn is not None:
        head += f"{'moved by':>10}{'rig as it is: worst':>21}{'kept by':>9}"
    lines += ["", head.rstrip()]
    lines += [_row(found, limit) for limit in found.limits]
    good = kept(found, found.judged)
    lines += ["", f"  every limit is kept on {int(np.sum(good))} of {count} fingers ({100.0 * np.mean(good):.1f} %); "
              f"{found.needed} must"]
    if found.drawn is not None:
        lines.append(f"  on the rig as it is, {int(np.sum(kept(found, found.as_found)))}; what the bench left open "
                     f"breaks a limit on {int(np.sum(kept(found, found.as_found) & ~good))} of those")
    for i in np.flatnonzero(~good)[:MOST_SHOWN]:
        lines.append(f"    {plan.fingers[int(i)].name}: {broken(found, int(i))}")
    if found.drawn is not None:
        lines.append("  moved by: what the drawn rigs change of the figure, rms over the fingers")
    return [*lines, "PASS" if found.passed else "FAIL", "", CAUTION]


def broken(found: Judged, i: int) -> str:
    """What a finger breaks, in a few words."""
    if found.reasons[i]:
        return found.reasons[i]
    if column(found, found.judged, "stable")[i] != 1.0:
        return "unstable"
    if found.plan.simulated and column(found, found.judged, "run_done")[i] != 1.0:
        return "the clamp does not hold"
    missed = [f"{limit.short} {column(found, found.judged, limit.name)[i]:.3g}" for limit in found.limits
              if not keeps_limit(found, found.judged, limit)[i]]
    return ", ".join(missed)


def _row(found: Judged, limit: Limit) -> str:
    def cells(figures: Reals) -> tuple[float, int, str]:
        value, finger = worst(found, figures, limit.name)
        return value, int(np.sum(keeps_limit(found, figures, limit))), finger

    value, many, finger = cells(found.judged)
    values = column(found, found.judged, limit.name)
    middle = float(np.nanmedian(values)) if np.any(np.isfinite(values)) else float("nan")
    unit = found.figures[limit.name].unit
    name = f"{limit.text} {unit if unit != '1' else ''}".rstrip()
    line = f"  {name:<38}{value:>9.3g}{middle:>9.3g}{many:>10}  {finger:<18}"
    if found.drawn is not None:
        value, many, _ = cells(found.as_found)
        line += f"{moved(found, limit.name):>10.2g}{value:>21.3g}{many:>9}"
    return line


def moved(found: Judged, name: str) -> float:
    """By how much the drawn rigs move a figure, rms over the fingers that have it on both; NaN without any."""
    if found.drawn is None:
        return float("nan")
    change = column(found, found.drawn, name) - column(found, found.as_found, name)
    sure = change[np.isfinite(change)]
    return float(np.sqrt(np.mean(sure * sure))) if len(sure) else float("nan")


def population_json(found: Judged) -> dict[str, Any]:
    """The same as plain data, finger by finger."""
    plan, uncertain = found.plan, found.uncertain
    return {
        "rig": plan.source.tables.get("name", ""), "fingers": len(plan.fingers), "percentile": plan.percentile,
        "simulated": plan.simulated, "seconds": plan.seconds, "passed": found.passed, "needed": found.needed,
        "kept_by": int(np.sum(kept(found, found.judged))),
        "kept_by_rig_as_it_is": int(np.sum(kept(found, found.as_found))),
        "spread": {} if uncertain is None else dict(zip(uncertain.names, uncertain.sds.tolist(), strict=True)),
        "joint": uncertain is not None and uncertain.joint,
        "limits": [{
            "figure": limit.name, "low": limit.low, "high": limit.high,
            "kept_by": int(np.sum(keeps_limit(found, found.judged, limit))),
            "worst": worst(found, found.judged, limit.name)[0], "worst_finger": worst(found, found.judged,
                                                                                      limit.name)[1],
            "worst_on_rig_as_it_is": worst(found, found.as_found, limit.name)[0],
            "moved_by": moved(found, limit.name),
        } for limit in found.limits],
        "by_finger": {finger.name: {
            "kept": bool(good), "reason": reason, **dict(zip(found.figures, row.tolist(), strict=True)),
        } for finger, good, reason, row in zip(plan.fingers, kept(found, found.judged), found.reasons, found.judged,
                                               strict=True)},
    }
