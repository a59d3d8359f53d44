"""A plan in words: a table of pieces and what each tells, and plain data."""
from __future__ import annotations

from typing import Any

from experiments.identify.excite.plan import Plan
from experiments.identify.recording.recording import KINDS


def plan_lines(plan: Plan) -> list[str]:
    """A row a piece, a row a number."""
    parts = ", ".join(plan.parts)
    lines = [f"Commands for a bench with {plan.rig.name}, for {parts}; ceiling {plan.ceiling_mmHg:g} mmHg", "",
             f"  {'play':<12}{'length s':>9}{'peak mmHg':>11}{'gain nats':>11}"]
    for piece, gain in zip(plan.pieces, plan.gains, strict=True):
        seconds = len(piece.command) * piece.period_s
        lines.append(f"  {piece.played:<12}{seconds:>9.3g}{piece.peak_mmHg:>11.4g}{gain:>11.3g}  {KINDS[piece.played]}")
    held = "" if plan.parts == ("light",) else "; the volume of the cuff is held"
    lines += ["", f"  expected standard uncertainty in %, by each alone and by all{held}",
              f"  {'':<36}" + "".join(f"{piece.played:>11}" for piece in plan.pieces) + f"{'all':>11}"]
    for k, free in enumerate(plan.free):
        cells = "".join(f"{shown(100.0 * sd):>11}" for sd in (*plan.alone[:, k], plan.together[k]))
        lines.append(f"  {free.name:<36}{cells}")
    lines.append(f"  a number that a piece does not tell of stays at the {100 * 0.3:.0f} % that are taken beforehand")
    return lines


def shown(percent: float) -> str:
    """Two digits of a percentage."""
    return f"{percent:.2g}" if percent < 99.5 else f"{percent:.0f}"


def plan_json(plan: Plan) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "rig": plan.rig.name, "for": list(plan.parts), "ceiling_mmHg": plan.ceiling_mmHg,
        "pieces": [{"played": p.played, "seconds": len(p.command) * p.period_s, "peak_mmHg": p.peak_mmHg,
                    "gain_nats": g, "sd_alone": dict(zip((f.name for f in plan.free), row.tolist(), strict=True))}
                   for p, g, row in zip(plan.pieces, plan.gains, plan.alone, strict=True)],
        "sd_together": dict(zip((f.name for f in plan.free), plan.together.tolist(), strict=True)),
    }
