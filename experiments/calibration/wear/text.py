"""What people and programs read of a plan of wear."""
from __future__ import annotations

import math
from typing import Any

from calibrate.wear import FingerAccount, WearLimits, WearPlan


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
    lines.append("limits are invented unless given; nobody has published what a finger stands")
    return lines


def wear_json(
    plan: WearPlan, mean_mmHg: float, limits: WearLimits, accounts: tuple[FingerAccount, ...], reasons: list[str]
) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "plan": plan._asdict(), "limits": limits._asdict(), "mean_cuff_mmHg": mean_mmHg,
        "accepted": not reasons, "reasons": reasons, "fingers": [account._asdict() for account in accounts],
    }
