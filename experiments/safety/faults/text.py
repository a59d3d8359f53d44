"""A study of failures as tables: by failure, single points of failure, and files."""
from __future__ import annotations

import csv
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.protection.guards import PROTECTIONS
from experiments.safety.faults.confidence import rate_bound_per_h
from experiments.safety.faults.fault import PHYSIOLOGY, Fault
from experiments.safety.faults.study import KEYS, Study, is_person
from experiments.safety.faults.verdict import BREAKS, CAUTION
from experiments.simulation.outcome import FIGURES, LAYERS


class Summary(NamedTuple):
    """One failure over all its fingers and onsets, with one set of protections. Times are nan where there are none."""

    fault: Fault
    lost: str  # protection that was taken away; empty for none
    runs: int
    highest_mmHg: float
    above_normal_s: float
    above_fault_s: float
    integral_mmHg_s: float  # largest
    detected_share: float  # within the time that the limits name
    detected_median_s: float
    detected_worst_s: float  # of those that were detected at all
    undetected: int
    vent_20_s: float  # slowest; infinite when one did not get there
    vent_15_s: float
    caught_by: str  # the layer that acted first, most often
    wrong_mmHg: float  # worst
    wrong_s: float  # longest
    breaks: tuple[str, ...]
    broken_runs: int


Groups = dict[tuple[int, int, str], NDArray[np.intp]]  # rows of (fault, second or −1, protection lost or "")
Table = dict[tuple[int, str], Summary]  # by fault and protection lost


def groups(study: Study) -> Groups:
    """Rows of each failure (or pair) with each protection taken away, or none."""
    found: dict[tuple[int, int, str], list[int]] = {}
    keys = zip(*(study.column(name).astype(int) for name in ("fault", "second", "lost")), strict=True)
    for i, (fault, second, lost) in enumerate(keys):
        found.setdefault((int(fault), int(second), PROTECTIONS[lost] if lost >= 0 else ""), []).append(i)
    return {key: np.array(rows, np.intp) for key, rows in found.items()}


def summary_table(study: Study) -> Table:
    """A summary of every failure with all protection, and without each that was taken away."""
    return {(fault, lost): summarise(study, rows, fault, lost)
            for (fault, second, lost), rows in groups(study).items() if second < 0}


def summarise(study: Study, rows: NDArray[np.intp], fault: int, lost: str) -> Summary:
    """Summary of the rows of one failure."""
    figure = {name: study.column(name)[rows] for name in FIGURES}
    detected = figure["detected_s"]
    seen = detected >= 0.0
    breaks = study.breaks[rows]
    return Summary(
        study.faults[fault], lost, len(rows), float(np.max(figure["highest_mmHg"])),
        float(np.max(figure["above_normal_s"])), float(np.max(figure["above_fault_s"])),
        float(np.max(figure["integral_mmHg_s"])), float(np.mean(seen & (detected <= study.plan.limits.detect_s))),
        float(np.median(detected[seen])) if np.any(seen) else np.nan,
        float(np.max(detected[seen])) if np.any(seen) else np.nan, int(np.sum(~seen)),
        _slowest(figure["vent_start_s"], figure["below_20_s"], study), _slowest(figure["vent_start_s"],
                                                                               figure["below_15_s"], study),
        first_layer(study, rows), float(np.max(figure["wrong_mmHg"])), float(np.max(figure["wrong_longest_s"])),
        tuple(name for i, name in enumerate(BREAKS) if np.any(breaks[:, i])), int(np.sum(np.any(breaks, axis=1))),
    )


def _slowest(start_s: NDArray[np.float64], below_s: NDArray[np.float64], study: Study) -> float:
    """Slowest time to an empty cuff; nan when none vented, infinite when one did not empty."""
    judged = (start_s >= 0.0) & (start_s <= study.plan.after_s - study.plan.limits.vent_s)
    if not np.any(judged):
        return np.nan
    return float(np.max(np.where(below_s[judged] < 0.0, np.inf, below_s[judged])))


def first_layer(study: Study, rows: NDArray[np.intp]) -> str:
    """The layer that acted first in most of the runs; the dump valve counts when nobody told it to open."""
    times = np.stack([study.column(name)[rows] for name in LAYERS], axis=1)
    times = np.where(times < 0.0, np.inf, times)
    dump = LAYERS.index("dump_valve")
    others = times.copy()
    others[:, dump] = np.inf
    first = np.argmin(others, axis=1)
    alone = np.min(others, axis=1) > times[:, dump]
    first = np.where(alone, dump, first)
    acted = np.isfinite(np.min(times, axis=1))
    if not np.any(acted):
        return ""
    return LAYERS[int(np.argmax(np.bincount(first[acted], minlength=len(LAYERS))))]


def summaries(table: Table, lost: str = "") -> list[Summary]:
    """Summaries of all failures with all protection, or without one."""
    return [summary for (_, gone), summary in sorted(table.items()) if gone == lost]


def single_points(table: Table) -> list[Summary]:
    """Failures that break a limit once one protection is gone, which they keep with all of them in place."""
    found = []
    for (fault, lost), bare in sorted(table.items()):
        new = tuple(name for name in bare.breaks if name not in table[fault, ""].breaks)
        if lost and new:
            found.append(bare._replace(breaks=new))
    return found


def pair_breaks(study: Study, table: Table) -> list[tuple[str, str, tuple[str, ...], int]]:
    """Pairs of failures that break a limit which neither breaks alone: names, limits, runs."""
    found = []
    for (i, j, _), rows in sorted(groups(study).items()):
        if j >= 0:
            alone = {*table[i, ""].breaks, *table[j, ""].breaks}
            hits = study.breaks[rows]
            both = tuple(name for b, name in enumerate(BREAKS) if np.any(hits[:, b]) and name not in alone)
            if both:
                found.append((study.faults[i].name, study.faults[j].name, both, int(np.sum(np.any(hits, axis=1)))))
    return found


def person_hours(study: Study) -> float:
    """Finger-hours in which nothing may trip."""
    person = np.array([is_person(study.faults[int(i)]) for i in study.column("fault")], bool)
    lasted = study.column("lasted_s")[person]
    return float(np.sum(np.where(lasted < 0.0, study.plan.after_s, lasted))) / 3600.0


def _time(value: float) -> str:
    return "–" if np.isnan(value) else "never" if np.isinf(value) else f"{value:.2f}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def study_lines(study: Study, table: Table) -> list[str]:
    """The tables for people."""
    limits, rows = study.plan.limits, summaries(table)
    failures = [s for s in rows if s.fault.kind != PHYSIOLOGY]
    lines = [
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
    loose = ", ".join(s.fault.name for s in failures if s.breaks)
    lines += ["", f"not contained with all protection: {loose or 'none'}"]
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
    if study.unheld:
        lines += ["", f"left out, the rig does not hold them: {'; '.join(study.unheld)}"]
    return [*lines, "", CAUTION]


def _what(summary: Summary) -> str:
    parts = []
    if "pressure" in summary.breaks:
        parts.append(f"{summary.highest_mmHg:.0f} mmHg")
    if "time above normal" in summary.breaks:
        parts.append(f"{summary.above_normal_s:.1f} s above normal")
    if "vent" in summary.breaks:
        after = _time(summary.vent_15_s)
        parts.append("never emptied" if after == "never" else f"emptied after {after} s")
    if "undetected wrong reading" in summary.breaks:
        parts.append(f"{summary.wrong_mmHg:.0f} mmHg wrong for {summary.wrong_s:.0f} s")
    return f"{'; '.join(parts)} ({summary.broken_runs} of {summary.runs} runs)"


def study_json(study: Study, table: Table) -> dict[str, Any]:
    """Everything but the single runs, as plain data."""

    def plain(s: Summary) -> dict[str, Any]:
        return s._asdict() | {"fault": s.fault.name, "item": s.fault.item, "mode": s.fault.mode,
                                "severity": s.fault.severity, "kind": s.fault.kind, "breaks": list(s.breaks)}

    return {
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
        "left_out": list(study.unheld), "not_applicable": study.excluded, "limits_note": CAUTION,
    }


def write_runs_csv(path: Path, study: Study) -> None:
    """Every run in one row, names instead of numbers, units in the header."""
    units = [f"{name} [{'mmHg·s' if name.endswith('_mmHg_s') else name.rsplit('_', 1)[-1]}]" for name in FIGURES]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["finger", "phase", "fault", "second_fault", "protection_lost", "copied", "diverged", *units,
                         *(f"{name}_first [s]" for name in LAYERS), "breaks"])
        for row, breaks in zip(study.rows, study.breaks, strict=True):
            finger, phase, fault, second, lost, copied, diverged = (int(v) for v in row[: len(KEYS) - 1])
            writer.writerow([
                study.names[finger], phase, study.faults[fault].name, study.faults[second].name if second >= 0 else "",
                PROTECTIONS[lost] if lost >= 0 else "", copied, diverged,
                *(f"{v:.6g}" if v >= 0.0 or i == FIGURES.index("lowest_mmHg") else ""
                  for i, v in enumerate(row[len(KEYS) :])),
                "; ".join(name for name, hit in zip(BREAKS, breaks, strict=True) if hit),
            ])


def write_runs_netcdf(path: Path, study: Study, attributes: dict[str, str]) -> None:
    """Every run as an xarray Dataset: variables along `run`, names as attributes of the index variables."""
    import xarray

    data = {}
    for name in (*KEYS, *FIGURES):
        unit = "mmHg s" if name.endswith("_mmHg_s") else "mmHg" if name.endswith("_mmHg") else "s"
        data[name] = ("run", study.column(name), {"units": unit if name.endswith(("_s", "mmHg")) else "1"})
    for name in LAYERS:
        data[f"{name}_first_s"] = ("run", study.column(name), {"units": "s", "long_name": "first action; -1 never"})
    for i, name in enumerate(BREAKS):
        data[f"breaks_{name.replace(' ', '_')}"] = ("run", study.breaks[:, i].astype(np.int8), {"units": "1"})
    names = {
        "fault_names": ", ".join(f.name for f in study.faults), "finger_names": ", ".join(study.names),
        "protection_names": ", ".join(PROTECTIONS),
    }
    xarray.Dataset(data, attrs=names | attributes).to_netcdf(path, engine="scipy")
