"""What people and programs read of a study of failures, and the catalogue as a list."""
from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from controller.protection.guards import PROTECTIONS
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.confidence import rate_bound_per_h
from experiments.safety.faults.fault import PHYSIOLOGY
from experiments.safety.faults.findings import HEAT
from experiments.safety.faults.first_minute import answer_lines, first_minute
from experiments.safety.faults.study import Study, is_person
from experiments.safety.faults.summary import (
    Summary,
    Table,
    findings,
    pair_breaks,
    person_hours,
    single_points,
    summaries,
)
from experiments.safety.faults.verdict import CAUTION

MOST_FINDINGS = 20  # printed


def _time(value: float) -> str:
    return "–" if np.isnan(value) else "never" if np.isinf(value) else f"{value:.2f}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def study_lines(study: Study, table: Table) -> list[str]:
    """The tables for people."""
    limits, rows = study.plan.limits, summaries(table)
    failures = [s for s in rows if s.fault.kind != PHYSIOLOGY]
    found = findings(table)
    verdict = "FAIL" if any(s.breaks for s in rows) or study.findings else "PASS"
    lines = [f"rig {study.plan.rig}: {verdict}", *answer_lines(first_minute(found)), ""] if found else []
    if study.plan.firmware is not None:
        lines.append(f"firmware {Path(study.plan.firmware.path).name} in the place of the rig's own law, "
                     "under the rig's protection")
    lines += [f"FINDING {text}" for text in study.findings[:MOST_FINDINGS]]
    lines += [f"and {len(study.findings) - MOST_FINDINGS} findings more"] if len(study.findings) > MOST_FINDINGS else []
    lines += [
        f"rig {study.plan.rig}: {_count(len(failures), 'failure')}, {_count(len(study.names), 'finger')}, "
        f"{_count(study.plan.phases, 'onset')} each, {len(study.rows)} runs of which "
        f"{int(np.sum(study.column('copied')))} follow from others", "",
        f"{'with all protection':<25}{'highest':>8}{'> ' + format(limits.normal_mmHg, '.0f'):>7}{'detected':>9}"
        f"{'slowest':>8}{'in ' + format(limits.detect_s, 'g') + ' s':>8}{'<20':>7}{'<15':>7}  {'caught first by':<17}"
        f"{'unseen wrong':>15}",
        f"{'':<25}{'mmHg':>8}{'s':>7}{'s':>9}{'s':>8}{'%':>8}{'s':>7}{'s':>7}  {'':<17}{'mmHg for s':>15}",
    ]
    for s in failures:
        verdict = f"  BREAKS {', '.join(s.breaks)} ({s.broken_runs} of {s.runs})" if s.breaks else ""
        lines.append(
            f"{s.fault.name:<25}{s.highest_mmHg:>8.0f}{s.above_normal_s:>7.2f}{_time(s.detected_median_s):>9}"
            f"{_time(s.detected_worst_s):>8}{100 * s.detected_share:>8.0f}{_time(s.vent_20_s):>7}"
            f"{_time(s.vent_15_s):>7}"
            f"  {s.caught_by or 'nothing':<17}{s.wrong_mmHg:>9.0f}{s.wrong_s:>6.1f}{verdict}"
        )
    if failures:
        share = sum(s.detected_share for s in failures) / len(failures)
        quick = sum(s.detected_share >= 0.95 for s in failures)
        lines += ["", f"detected within {limits.detect_s:g} s: {100 * share:.0f} % of all runs; "
                      f"{quick} of {len(failures)} failures on 95 % of the fingers"]
    lines += _people_lines(study, rows)
    points = single_points(table)
    if study.plan.protections:
        lines += ["", "single points of failure: without the protection, the failure breaks a limit that it keeps with "
                      "it"]
        lines += [f"  {s.lost:<17}{s.fault.name:<26}{', '.join(s.breaks)}: {_what(s)}"
                  for s in sorted(points, key=lambda s: s.lost)] or ["  none"]
    pairs = pair_breaks(study, table)
    if study.plan.pairs:
        lines += ["", "pairs of failures that break a limit which neither breaks alone"]
        lines += [f"  {a} + {b}: {', '.join(what)} ({runs} runs)" for a, b, what, runs in pairs] or ["  none"]
    wild = int(np.sum(study.column("diverged")))
    if wild:
        lines += ["", f"{wild} runs diverged: a pressure or the light left all bounds"]
    if study.excluded:
        said = "; ".join(f"{name}: {why}" for name, why in study.excluded.items())
        lines += ["", f"not applicable to this rig: {said}"]
    if study.lost_clamp:
        lines += ["", f"left out, the rig does not hold them: {'; '.join(study.lost_clamp)}"]
    return [*lines, "", CAUTION]


def _people_lines(study: Study, rows: list[Summary]) -> list[str]:
    """False alarms and their rate; alarms that were right."""
    lines, limits = [], study.plan.limits
    people = [s for s in rows if is_person(s.fault)]
    if people:
        alarms = {s.fault.name: s.broken_runs for s in people if s.breaks}
        runs, hours = sum(s.runs for s in people), person_hours(study)
        which = f": {alarms}" if alarms else ""
        count = sum(alarms.values())
        lines.append(f"physiology: {count} false alarms in {runs} runs, {hours:.2f} finger-hours{which}; with 95 % "
                     f"confidence fewer than {rate_bound_per_h(count, hours):.3g} an hour")
        warned = sum(s.runs - s.undetected for s in people) - count
        if warned:
            lines.append(f"{warned} more warned while the reading was off by more than {limits.right_mmHg:g} mmHg")
    lines += [f"{s.fault.name}: {s.runs - s.undetected} of {s.runs} runs warned, rightly ({s.fault.mode})"
              for s in rows if s.fault.kind == PHYSIOLOGY and not is_person(s.fault)]
    return lines


def _what(summary: Summary) -> str:
    parts = []
    if "pressure" in summary.breaks:
        parts.append(f"{summary.highest_mmHg:.0f} mmHg")
    if "time above normal" in summary.breaks:
        parts.append(f"{summary.above_normal_s:.1f} s above normal")
    if "vent" in summary.breaks:
        after = _time(summary.vent_15_s)
        parts.append("never emptied" if after in ("never", "–") else f"emptied after {after} s")
    if HEAT in summary.breaks:
        parts.append(f"skin at {summary.skin_degC:.1f} °C")
    if "undetected wrong reading" in summary.breaks:
        parts.append(f"{summary.wrong_mmHg:.0f} mmHg wrong for {summary.wrong_s:.0f} s")
    return f"{'; '.join(parts)} ({summary.broken_runs} of {summary.runs} runs)"


def study_json(study: Study, table: Table) -> dict[str, Any]:
    """Everything but the single runs, as plain data."""

    def plain(s: Summary) -> dict[str, Any]:
        return s._asdict() | {"fault": s.fault.name, "item": s.fault.item, "mode": s.fault.mode,
                                "severity": s.fault.severity, "kind": s.fault.kind, "breaks": list(s.breaks)}

    given = study.plan.firmware
    own = {} if given is None else {"firmware": given._asdict(), "findings": list(study.findings)}
    return own | {
        "rig": study.plan.rig, "settings": list(study.plan.settings), "limits": study.plan.limits._asdict(),
        "fingers": list(study.names), "phases": study.plan.phases, "seconds": study.plan.after_s,
        "runs": len(study.rows), "failures": [plain(s) for s in summaries(table)],
        "without": {name: [plain(s) for s in summaries(table, name)] for name in study.plan.protections},
        "not_contained": [s.fault.name for s in summaries(table) if s.breaks],
        "single_points": [plain(s) for s in single_points(table)],
        "pairs": [{"faults": [a, b], "breaks": list(what), "runs": runs}
                  for a, b, what, runs in pair_breaks(study, table)],
        "person_hours": person_hours(study),
        "false_alarms": sum(s.broken_runs for s in summaries(table) if is_person(s.fault)),
        "left_out": list(study.lost_clamp), "not_applicable": study.excluded, "limits_note": CAUTION,
    }


def catalogue_lines() -> list[str]:
    """The catalogue as a list."""
    lines = [f"{'failure':<27}{'part':<17}how it fails"]
    for fault in CATALOGUE.values():
        if fault.kind != PHYSIOLOGY:
            lines.append(f"{fault.name:<27}{fault.item:<17}{fault.mode}")
    lines += ["", "physiology that must trip nothing"]
    lines += [f"{f.name:<27}{f.item:<17}{f.mode}" for f in CATALOGUE.values() if f.kind == PHYSIOLOGY]
    return [*lines, "", f"protections: {', '.join(PROTECTIONS)}"]
