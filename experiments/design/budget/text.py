"""What people and programs read of a rig's budget."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from experiments.design.budget.cost import LoopCost
from experiments.design.budget.sensitivity import Budget, Effect
from experiments.design.budget.sobol import FIGURES, Study

NEGLIGIBLE = LoopCost(0.05, 0.005, 0.005, 0.0005, 0.002)  # changes below all of these are not shown
MOST_SHOWN = 24
LED_BY = 3  # sentences
HEADS = ("phase °", "delay ticks", "Ms", "error mmHg")


def telling(found: Budget) -> list[Effect]:
    """The effects that are not negligible: unstable ones first, then by what they do to the phase margin."""
    shown = [e for e in found.effects if e.effect is not None
             and (e.unstable or any(abs(v) >= n for v, n in zip(e.effect, NEGLIGIBLE, strict=True)))]
    return sorted(shown, key=lambda e: -math.inf if e.unstable or e.effect is None else -abs(e.effect.phase_margin_deg))


def sentence(effect: Effect) -> str:
    """One effect in words: `10 cm more tube cost 1.5° of phase margin`."""
    assert effect.effect is not None
    if effect.unstable:
        return f"{effect.words}: unstable"
    change = effect.effect
    cost = "costs" if change.phase_margin_deg < 0.0 else "brings"
    return (f"{effect.words}: {cost} {abs(change.phase_margin_deg):.1f}° of phase margin, "
            f"{_signed(change.delay_margin_ticks, 2)} ticks of delay margin, Ms {_signed(change.sensitivity_peak, 2)}, "
            f"error {_signed(change.error_mmHg, 3)} mmHg")


def _signed(value: float, digits: int) -> str:
    text = f"{value:+.{digits}f}".replace("-", "−")
    return text if any(c in text for c in "123456789") else f"{0.0:.{digits}f}"


def budget_lines(found: Budget, study: Study | None, note: str = "") -> list[str]:
    """The budget on one screen."""
    now, shown = found.present, telling(found)
    name = found.source.tables.get("name", "")
    lines = [f"budget of {name} at {found.arterial_mmHg:g} mmHg: phase margin {now.phase_margin_deg:.1f}°, delay "
             f"margin {now.delay_margin_ticks:.2f} ticks, Ms {now.sensitivity_peak:.2f}, error of pulse and noise "
             f"{now.error_mmHg:.3f} mmHg", ""]
    costs = [e for e in shown if e.effect is not None and (e.unstable or e.effect.phase_margin_deg < 0.0)]
    lines += [sentence(effect) for effect in costs[:LED_BY]]
    width = max((len(e.words) for e in shown[:MOST_SHOWN]), default=20) + 2
    lines += ["", f"{'what it brings':<{width}}" + "".join(f"{head:>12}" for head in HEADS)]
    for effect in shown[:MOST_SHOWN]:
        assert effect.effect is not None
        if effect.unstable:
            lines.append(f"{effect.words:<{width}}{'unstable':>12}")
            continue
        cells = [_signed(v, d) for v, d in zip(effect.effect[:4], (1, 2, 2, 3), strict=True)]
        lines.append(f"{effect.words:<{width}}" + "".join(f"{cell:>12}" for cell in cells))
    rest = len([e for e in found.effects if e.effect is not None]) - len(shown[:MOST_SHOWN])
    lines.append(f"and {rest} steps of other parameters, with less to show")
    odd = [e for e in found.effects if e.note and not e.note.startswith("no step")]
    lines += [f"not tried: {e.words or e.name}: {e.note}" for e in odd]
    if study is not None:
        lines += ["", *study_lines(study)]
    return lines + ([note] if note else [])


def study_lines(study: Study) -> list[str]:
    """Total Sobol indices by parameter, and how far the figures spread."""
    width = max(len(s.name) for s in study.spreads) + 2
    lines = [f"which spreads matter: total Sobol index over {study.points} points"
             + (f", {100 * study.unstable_share:.1f} % of them unstable" if study.unstable_share else ""),
             f"{'':<{width + 24}}" + "".join(f"{head:>16}" for head in ("phase", "delay", "modulus", "error"))]
    order = np.argsort([-max(float(i.total[k]) for i in study.indices.values()) for k in range(len(study.spreads))])
    for k in order:
        s = study.spreads[int(k)]
        span = f"{s.low:.4g} … {s.high:.4g} {s.unit if s.unit != '1' else ''}"
        lines.append(f"{s.name:<{width}}{span:<24}" + "".join(
            f"{f'{i.total[k]:.2f} ± {i.total_interval[k]:.2f}':>16}" for i in study.indices.values()))
    lines.append(f"{'5 to 95 % of the points':<{width + 24}}"
                 + "".join(f"{_span(v):>16}" for v in study.values.values()))
    return lines


def _span(values: Any) -> str:
    return "{:.3g} … {:.3g}".format(*np.percentile(values, [5.0, 95.0])) if len(values) else "none stable"


def budget_json(found: Budget, study: Study | None) -> dict[str, Any]:
    """The budget as plain data."""
    return {
        "rig": found.source.tables.get("name", ""), "tables": found.source.tables, "arterial_mmHg": found.arterial_mmHg,
        "side": found.side, "present": found.present._asdict(),
        "parameters": {e.name: {
            "unit": e.unit, "present": e.present, "step": e.words, "value": e.value, "unstable": e.unstable,
            "change": e.effect._asdict() if e.effect else None, "derivative": e.slope._asdict() if e.slope else None,
            "note": e.note,
        } for e in found.effects},
        "sobol": None if study is None else {
            "points": study.points, "unstable_share": study.unstable_share,
            "ranges": {s.name: {"low": s.low, "high": s.high, "unit": s.unit} for s in study.spreads},
            "figures": {name: {"what": FIGURES[name], **{key: dict(zip((s.name for s in study.spreads), column.tolist(),
                                                                       strict=True))
                                                         for key, column in indices._asdict().items()}}
                        for name, indices in study.indices.items()},
        },
    }
