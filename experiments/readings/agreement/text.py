"""Agreement of two methods as lines and as plain data."""
from __future__ import annotations

import math
from typing import Any

from experiments.readings.agreement.limits import Limits
from experiments.readings.agreement.percentage import CUSTOMARY_LIMIT
from experiments.readings.agreement.standard import WANTED_PAIRS, WANTED_SUBJECTS, Criteria
from experiments.readings.agreement.study import USUAL_ZONE, Agreed
from experiments.readings.agreement.trending import WANTED_CONCORDANCE, WANTED_BIAS_deg, WANTED_LIMITS_deg
from experiments.work.output import CAUTION

METHODS = {"plain": "plain, one pair a subject", "changing": "repeated, truth changing", "constant":
           "repeated, truth constant"}


def agree_lines(found: Agreed) -> list[str]:
    """The whole on one screen."""
    unit = f" {found.question.unit}" if found.question.unit else ""
    lines = [f"{found.names[0]} against {found.names[1]}: {found.repeated.pairs} pairs of {found.repeated.subjects} "
             f"subjects{f', in{unit}' if unit else ''}", "",
             f"{'limits of agreement':<28}{'bias':>10}{'SD':>10}{'lower':>10}{'upper':>10}"]
    lines += [_limits_line(found.plain), _limits_line(found.repeated)]
    p = found.percentage
    lines += ["", f"percentage error {100 * p.error:.1f} % of the mean reference {p.mean_reference:.4g}{unit}; "
              f"null predictor (a constant) {100 * p.null:.1f} %",
              f"  {'no better' if p.error >= p.null else 'better'} than the constant; customary limit "
              f"{100 * CUSTOMARY_LIMIT:.0f} % supposes a reference of 20 % (Critchley & Critchley 1999)"]
    if math.isfinite(p.reference_precision):
        lines.append(f"  precision of the reference {100 * p.reference_precision:.1f} %, which leaves "
                     f"{100 * p.tested_precision:.1f} % to the tested method")
    lines += ["", *_trending_lines(found, unit)]
    if found.criteria is not None:
        lines += ["", *_criteria_lines(found.criteria)]
    return [*lines, "", CAUTION]


def _limits_line(limits: Limits) -> str:
    note = "  between subjects set to 0" if limits.method == "changing" and limits.between < limits.within else ""
    return (f"{METHODS[limits.method]:<28}{limits.bias:>10.4g}{limits.sd:>10.4g}{limits.lower:>10.4g}"
            f"{limits.upper:>10.4g}{note}")


def _trending_lines(found: Agreed, unit: str) -> list[str]:
    t, zone = found.trending, found.question.zone
    if not t.changes:
        return ["trending: no subject has two pairs"]
    size = f"{100 * USUAL_ZONE:g} % of the level" if math.isnan(zone) else f"{zone:g}{unit}"
    lines = [f"trending: {t.changes} changes, zone of exclusion {size}"]
    if t.outside:
        lines.append(f"  four-quadrant: {t.concordant} of {t.outside} concordant, {100 * t.concordance:.1f} % "
                     f"(wanted ≥ {100 * WANTED_CONCORDANCE:.0f} %)")
    if t.polar > 1:
        lines.append(f"  polar: {t.polar} changes, angle {t.angle_deg:+.1f}° ± {t.limits_deg:.1f}° (wanted ± "
                     f"{WANTED_BIAS_deg:g}°, ± {WANTED_LIMITS_deg:g}°), {100 * t.within_30:.1f} % within 30°")
    return lines


def _criteria_lines(c: Criteria) -> list[str]:
    words = {True: "within", False: "NOT within"}
    lines = [f"ISO 81060-2 criterion 1: {c.bias_mmHg:+.3g} ± {c.sd_mmHg:.3g} mmHg, {words[c.first]} ± 5, 8 mmHg",
             f"ISO 81060-2 criterion 2: SD of {c.subjects} subjects' means {c.means_sd_mmHg:.3g} mmHg, "
             + (f"{words[c.second]} {c.allowed_sd_mmHg:.2f} mmHg" if math.isfinite(c.allowed_sd_mmHg)
                else "no SD is allowed with that bias")]
    if not c.enough:
        lines.append(f"  only {c.subjects} subjects and {c.pairs} pairs: the standard wants {WANTED_SUBJECTS} and "
                     f"{WANTED_PAIRS}, and much else than counts")
    return lines


def agree_json(found: Agreed) -> dict[str, Any]:
    """The same as plain data."""
    limits = {one.method: {**one._asdict(), "lower": one.lower, "upper": one.upper}
              for one in (found.plain, found.repeated)}
    return {
        "tested": found.names[0], "reference": found.names[1], "question": found.question._asdict(), "limits": limits,
        "percentage": found.percentage._asdict(), "trending": found.trending._asdict(),
        "iso_81060_2": None if found.criteria is None else found.criteria._asdict(),
    }
