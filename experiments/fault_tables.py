"""A study of failures as tables: by failure, single points of failure, and files."""
from __future__ import annotations

import csv
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.fault_case import PHYSIOLOGY, Fault
from experiments.fault_limits import BREAKS, CAUTION
from experiments.fault_study import KEYS, NONE_LOST, Study
from experiments.guards import PROTECTIONS
from experiments.tally import FIGURES, LAYERS

UNITS = {"mmHg": "mmHg", "s": "s"}


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


def selected(study: Study, fault: int, lost: str = "", second: int = -1) -> NDArray[np.bool_]:
    """Rows of one failure (or pair) with one protection taken away, or none."""
    gone = float(PROTECTIONS.index(lost)) if lost else NONE_LOST
    return np.asarray(
        (study.column("fault") == fault) & (study.column("second") == second) & (study.column("lost") == gone)
    )


def summarise(study: Study, fault: int, lost: str = "") -> Summary | None:
    """Summary of one failure; None when there is no such run."""
    rows = selected(study, fault, lost)
    if not np.any(rows):
        return None
    figure = {name: study.column(name)[rows] for name in FIGURES}
    detected = figure["detected_s"]
    seen = detected >= 0.0
    breaks = study.breaks[rows]
    return Summary(
        study.faults[fault], lost, int(np.sum(rows)), float(np.max(figure["highest_mmHg"])),
        float(np.max(figure["above_normal_s"])), float(np.max(figure["above_fault_s"])),
        float(np.max(figure["integral_mmHg_s"])), float(np.mean(seen & (detected <= study.setting.limits.detect_s))),
        float(np.median(detected[seen])) if np.any(seen) else np.nan,
        float(np.max(detected[seen])) if np.any(seen) else np.nan, int(np.sum(~seen)),
        _slowest(figure["vent_start_s"], figure["below_20_s"], study), _slowest(figure["vent_start_s"],
                                                                               figure["below_15_s"], study),
        first_layer(study, rows), float(np.max(figure["wrong_mmHg"])), float(np.max(figure["wrong_longest_s"])),
        tuple(name for i, name in enumerate(BREAKS) if np.any(breaks[:, i])), int(np.sum(np.any(breaks, axis=1))),
    )


def _slowest(start_s: NDArray[np.float64], below_s: NDArray[np.float64], study: Study) -> float:
    """Slowest time to an empty cuff; nan when none vented, infinite when one did not empty."""
    judged = (start_s >= 0.0) & (start_s <= study.setting.after_s - study.setting.limits.vent_s)
    if not np.any(judged):
        return np.nan
    return float(np.max(np.where(below_s[judged] < 0.0, np.inf, below_s[judged])))


def first_layer(study: Study, rows: NDArray[np.bool_]) -> str:
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


def summaries(study: Study, lost: str = "") -> list[Summary]:
    """Summaries of all failures with all protection, or without one."""
    found = (summarise(study, i, lost) for i in range(len(study.faults)))
    return [summary for summary in found if summary is not None]


def single_points(study: Study) -> list[Summary]:
    """Failures that break a limit once one protection is gone, though they do not, or not that one, with all of them."""
    found = []
    for i in range(len(study.faults)):
        whole = summarise(study, i)
        for name in study.setting.protections:
            bare = summarise(study, i, name)
            if bare is not None and whole is not None and set(bare.breaks) - set(whole.breaks):
                found.append(bare._replace(breaks=tuple(b for b in bare.breaks if b not in whole.breaks)))
    return found


def pair_breaks(study: Study) -> list[tuple[str, str, tuple[str, ...], int]]:
    """Pairs of failures that break a limit which neither breaks alone: names, limits, runs."""
    found = []
    for j in sorted(set(study.column("second")[study.column("second") >= 0].astype(int))):
        for i in range(j):
            rows = selected(study, i, second=j)
            alone = {b for k in (i, j) for s in [summarise(study, k)] if s is not None for b in s.breaks}
            both = [name for b, name in enumerate(BREAKS) if np.any(study.breaks[rows][:, b]) and name not in alone]
            if both:
                runs = int(np.sum(np.any(study.breaks[rows], axis=1)))
                found.append((study.faults[i].name, study.faults[j].name, tuple(both), runs))
    return found


def _time(value: float) -> str:
    return "–" if np.isnan(value) else "never" if np.isinf(value) else f"{value:.2f}"


def fault_lines(study: Study) -> list[str]:
    """The tables for people."""
    limits, rows = study.setting.limits, summaries(study)
    failures = [s for s in rows if s.fault.kind != PHYSIOLOGY]
    lines = [
        f"rig {study.setting.rig}: {len(failures)} failures, {len(study.names)} fingers, {study.setting.phases} onset(s) "
        f"each, {len(study.rows)} runs of which {int(np.sum(study.column('copied')))} follow from others", "",
        f"{'with all protection':<25}{'highest':>8}{'> ' + format(limits.normal_mmHg, '.0f'):>7}{'detected':>9}"
        f"{'slowest':>8}{'in ' + format(limits.detect_s, 'g') + ' s':>8}{'<20':>7}{'<15':>7}  {'caught first by':<17}"
        f"{'unseen wrong':>15}",
        f"{'':<25}{'mmHg':>8}{'s':>7}{'s':>9}{'s':>8}{'%':>8}{'s':>7}{'s':>7}  {'':<17}{'mmHg for s':>15}",
    ]
    for s in failures:
        verdict = f"  BREAKS {', '.join(s.breaks)} ({s.broken_runs} of {s.runs})" if s.breaks else ""
        lines.append(
            f"{s.fault.name:<25}{s.highest_mmHg:>8.0f}{s.above_normal_s:>7.2f}{_time(s.detected_median_s):>9}"
            f"{_time(s.detected_worst_s):>8}{100 * s.detected_share:>8.0f}{_time(s.vent_20_s):>7}{_time(s.vent_15_s):>7}"
            f"  {s.caught_by or 'nothing':<17}{s.wrong_mmHg:>9.0f}{s.wrong_s:>6.1f}{verdict}"
        )
    if failures:
        share = sum(s.detected_share for s in failures) / len(failures)
        quick = sum(s.detected_share >= 0.95 for s in failures)
        lines += ["", f"detected within {limits.detect_s:g} s: {100 * share:.0f} % of all runs; "
                      f"{quick} of {len(failures)} failures on 95 % of the fingers"]
    people = [s for s in rows if s.fault.kind == PHYSIOLOGY]
    if people:
        alarms = {s.fault.name: s.broken_runs for s in people if s.breaks}
        runs = sum(s.runs for s in people)
        hours = runs * study.setting.after_s / 3600.0
        lines.append(f"physiology: {sum(alarms.values())} false alarms in {runs} runs, {hours:.2f} finger-hours"
                     + (f": {alarms}" if alarms else ""))
    lines += ["", "not contained with all protection: " + (", ".join(s.fault.name for s in failures if s.breaks) or "none")]
    points = single_points(study)
    lines += ["", "single points of failure: without this protection, this failure breaks a limit that it keeps with it"]
    lines += [f"  {s.lost:<17}{s.fault.name:<26}{', '.join(s.breaks)}: {_what(s)}"
              for s in sorted(points, key=lambda s: s.lost)] or ["  none"]
    pairs = pair_breaks(study)
    if study.setting.pairs:
        lines += ["", "pairs of failures that break a limit which neither breaks alone"]
        lines += [f"  {a} + {b}: {', '.join(what)} ({runs} runs)" for a, b, what, runs in pairs] or ["  none"]
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
        parts.append(f"emptied after {_time(summary.vent_15_s)} s")
    if "undetected wrong reading" in summary.breaks:
        parts.append(f"{summary.wrong_mmHg:.0f} mmHg wrong for {summary.wrong_s:.0f} s")
    return f"{'; '.join(parts)} ({summary.broken_runs} of {summary.runs} runs)"


def fault_json(study: Study) -> dict[str, Any]:
    """Everything but the single runs, as plain data."""

    def plain(s: Summary) -> dict[str, Any]:
        fields = s._asdict() | {"fault": s.fault.name, "item": s.fault.item, "mode": s.fault.mode,
                                "severity": s.fault.severity, "kind": s.fault.kind, "breaks": list(s.breaks)}
        return fields

    return {
        "rig": study.setting.rig, "settings": list(study.setting.settings), "limits": study.setting.limits._asdict(),
        "fingers": list(study.names), "phases": study.setting.phases, "seconds": study.setting.after_s,
        "runs": len(study.rows), "failures": [plain(s) for s in summaries(study)],
        "without": {name: [plain(s) for s in summaries(study, name)] for name in study.setting.protections},
        "not_contained": [s.fault.name for s in summaries(study) if s.breaks],
        "single_points": [plain(s) for s in single_points(study)],
        "pairs": [{"faults": [a, b], "breaks": list(what), "runs": runs} for a, b, what, runs in pair_breaks(study)],
        "left_out": list(study.unheld), "limits_note": CAUTION,
    }


def write_runs_csv(path: Path, study: Study) -> None:
    """Every run in one row, names instead of numbers, units in the header."""
    units = [f"{name} [{'mmHg·s' if name.endswith('_mmHg_s') else name.rsplit('_', 1)[-1]}]" for name in FIGURES]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["finger", "phase", "fault", "second_fault", "protection_lost", "copied", "diverged", *units,
                         *(f"{name}_first [s]" for name in LAYERS), "breaks"])
        for row, breaks in zip(study.rows, study.breaks, strict=True):
            finger, phase, fault, second, lost, copied, diverged = (int(v) for v in row[: len(KEYS)])
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
        data[name] = ("run", study.column(name), {"units": unit if name in FIGURES else "1"})
    for name in LAYERS:
        data[f"{name}_first_s"] = ("run", study.column(name), {"units": "s", "long_name": "first action; -1 never"})
    for i, name in enumerate(BREAKS):
        data[f"breaks_{name.replace(' ', '_')}"] = ("run", study.breaks[:, i].astype(np.int8), {"units": "1"})
    names = {
        "fault_names": ", ".join(f.name for f in study.faults), "finger_names": ", ".join(study.names),
        "protection_names": ", ".join(PROTECTIONS),
    }
    xarray.Dataset(data, attrs=names | attributes).to_netcdf(path, engine="scipy")
