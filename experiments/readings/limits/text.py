"""Requirements both ways, as lines and as plain data."""
from __future__ import annotations

import math
from typing import Any

from experiments.readings.limits.study import GAP_s, Required
from experiments.work.output import CAUTION


def require_lines(found: Required) -> list[str]:
    """What the limits ask of a loop, then what the rig's readings are worth."""
    wanted = found.wanted
    lines = ["what each limit asks of the loop, spent on one cause alone, for 95 % of virtual people in 9 states", "",
             f"{'reading':<11}{'limit':>9}{'bandwidth':>12}{'damping':>10}{'level':>13}{'height':>11}{'drift':>15}"
             f"{'noise, SD':>15}"]
    for row in found.rows:
        lines.append(
            f"{row.reading:<11}{f'{row.limit:g} {row.unit}':>9}{_told(row.bandwidth_Hz, 'Hz', '≥ '):>12}"
            f"{_told(row.damping, '', '≥ '):>10}{_told(row.level_mmHg, 'mmHg', '± '):>13}"
            f"{_told(row.height_cm, 'cm', '± '):>11}{_told(row.drift_mmHg_h, 'mmHg/h', '± '):>15}"
            f"{_told(row.noise_mmHg, 'mmHg', '≤ '):>15}")
    lines += [f"bandwidth of a first-order loop; damping of a second-order one of {wanted.natural_Hz:g} Hz; drift "
              f"within {wanted.recalibration_s / 60:g} min"]
    if math.isfinite(found.gap_share):
        lines.append(f"windows of {wanted.window_s:g} s for {100 * wanted.availability:g} % of the time: gaps of "
                     f"{GAP_s:g} s may take {100 * found.gap_share:.1f} % of it")
    lines += ["", f"what readings of {found.rig} are worth: bandwidth {_told(found.loop.bandwidth_Hz, 'Hz')}, peak of "
              f"|T| {found.loop.peak:.2f}, set point ± {1.645 * found.level_sd_mmHg:.1f} mmHg", "",
              f"{'reading':<14}{'by the loop':>14}{'by the level':>14}{'limit':>11}"]
    for one in found.worth:
        verdict = {True: "  kept", False: "  MISSED", None: ""}[one.kept]
        lines.append(f"{one.reading:<14}{f'{one.by_loop:.2f} {one.unit}':>14}{f'{one.by_level:.2f} {one.unit}':>14}"
                     f"{f'{one.limit:g} {one.unit}' if math.isfinite(one.limit) else '':>11}{verdict}")
    lines.append(f"variation: light noise alone reads {found.floor_percent:.2f} %" + _floor_verdict(found))
    return [*lines, "", "Virtual people; gaps, drift and the level of a found set point are supposed.", CAUTION]


def passed(found: Required) -> bool:
    """Whether the rig keeps every limit that was given."""
    limit = found.wanted.variation_percent
    return all(one.kept is not False for one in found.worth) and not found.floor_percent > limit


def _floor_verdict(found: Required) -> str:
    limit = found.wanted.variation_percent
    if math.isnan(limit):
        return ""
    return f", limit {limit:g} %{'  kept' if found.floor_percent <= limit else '  MISSED'}"


def _told(value: float, unit: str, sign: str = "") -> str:
    if math.isnan(value):
        return "–"
    if math.isinf(value):
        return f"> 80 {unit}"
    return f"{sign}{value:.3g}{' ' if unit else ''}{unit}"


def require_json(found: Required) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "rig": found.rig, "wanted": found.wanted._asdict(), "needed": [row._asdict() for row in found.rows],
        "bandwidth_Hz": found.loop.bandwidth_Hz, "peak": found.loop.peak, "noise_mmHg": found.loop.noise_mmHg,
        "worth": [one._asdict() | {"kept": one.kept} for one in found.worth], "floor_percent": found.floor_percent,
        "gap_share": found.gap_share, "level_sd_mmHg": found.level_sd_mmHg,
    }
