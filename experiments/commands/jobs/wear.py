"""`cuffloop wear`: whether a plan of turns keeps to its limits, and what each finger bears."""
from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from calibrate.wear import USUAL_LIMITS, FingerAccount, Refusal, WearPlan, check_plan, wear_account
from experiments.work.output import OutputFolder, print_json, print_lines, provenance
from plant.errors import InputError
from plant.validate import validated

CUFF_mmHg = (0.0, 400.0)


def wear_job(
    hours: float, fingers: int, turn_min: float, pause_min: float, mean_mmHg: float, out: Path | None, as_json: bool
) -> int:
    """0 when the plan is accepted, 1 when it is refused."""
    plan: WearPlan = validated(
        WearPlan, {"duration_h": hours, "fingers": fingers, "turn_min": turn_min, "pause_min": pause_min},
        "wear plan", "plan")
    if not CUFF_mmHg[0] <= mean_mmHg <= CUFF_mmHg[1]:
        raise InputError(f"--mean {mean_mmHg:g} must be from {CUFF_mmHg[0]:g} to {CUFF_mmHg[1]:g} mmHg")
    verdict, accounts = check_plan(plan, USUAL_LIMITS, mean_mmHg), wear_account(plan, mean_mmHg)
    reasons = list(verdict.reasons) if isinstance(verdict, Refusal) else []
    document: dict[str, Any] = {
        "plan": plan._asdict(), "limits": USUAL_LIMITS._asdict(), "mean_cuff_mmHg": mean_mmHg,
        "accepted": not reasons, "reasons": reasons, "fingers": [account._asdict() for account in accounts],
    } | provenance(None)
    with OutputFolder.open(out) as folder:
        if folder:
            from experiments.calibration.wear_pictures import wear_figure

            folder.write_json("wear.json", document)
            folder.write_figures({"wear": lambda: wear_figure(plan, mean_mmHg)})
    if as_json:
        print_json(document)
    else:
        print_lines(wear_lines(plan, mean_mmHg, accounts, reasons), folder)
    return 1 if reasons else 0


def wear_lines(
    plan: WearPlan, mean_mmHg: float, accounts: tuple[FingerAccount, ...], reasons: list[str]
) -> list[str]:
    """The result for people."""
    who = "one finger" if plan.fingers == 1 else f"two fingers in turns of {plan.turn_min:g} min"
    lines = [
        f"{plan.duration_h:g} h on {who}, mean cuff pressure {mean_mmHg:g} mmHg: "
        f"{'refused' if reasons else 'accepted'}",
        *(f"  {reason}" for reason in reasons),
        f"{'finger':>8}{'under pressure':>17}{'longest':>11}{'least rest':>13}{'pressure–time':>17}",
    ]
    for account in accounts:
        rest = f"{60 * account.shortest_rest_h:.0f} min" if math.isfinite(account.shortest_rest_h) else "none"
        lines.append(f"{account.finger + 1:8d}{account.pressed_h:15.4g} h{60 * account.longest_h:7.0f} min{rest:>13}"
                     f"{account.load_mmHg_h:10.0f} mmHg·h")
    lines.append("limits of time are common practice, no source; the limit of pressure times time is invented")
    return lines
