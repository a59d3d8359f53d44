"""A study of failures summed up: each failure with each set of protections, single points of failure, pairs."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.protection.guards import PROTECTIONS
from experiments.safety.faults.fault import FAILURE, Fault
from experiments.safety.faults.findings import BREAKS, Failure, Outcome
from experiments.safety.faults.study import Study, is_person
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
    skin_degC: float  # hottest
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
        float(np.max(figure["skin_degC"])),
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


def findings(table: Table) -> list[Failure]:
    """Each failure with what it breaks, with all protection and without each; without causes and effects in words."""
    lost: dict[str, dict[str, Outcome]] = {}
    for summary in table.values():
        lost.setdefault(summary.fault.name, {})[summary.lost] = _outcome(summary)
    return [Failure(s.fault.name, s.fault.item, s.fault.mode, "", "", (s.caught_by or "nothing").replace("_", " "),
                    s.runs, s.broken_runs, s.undetected, s.detected_median_s, lost[s.fault.name][""],
                    {name: one for name, one in lost[s.fault.name].items() if name})
            for s in summaries(table) if s.fault.kind == FAILURE]


def _outcome(summary: Summary) -> Outcome:
    """The worst of a summary; a failure that was missed once was not detected."""
    detect, vent = (np.inf if np.isnan(value) else value for value in (summary.detected_worst_s, summary.vent_20_s))
    return Outcome(summary.highest_mmHg, np.inf if summary.undetected else detect, vent, summary.wrong_mmHg,
                   summary.wrong_s, summary.breaks, summary.skin_degC)


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
