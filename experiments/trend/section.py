"""The report's section on readings: what the loop does to each, over hours under schedules, and with failures."""
from __future__ import annotations

import math
from typing import Any

from experiments.readings.limits.study import Required
from experiments.safety.report.page import Section, image, paragraph, picture, table
from experiments.trend.document import TrendDocument
from experiments.work.output import CAUTION

WORTH_HEAD = ("Reading", "Unit", "By the loop's response", "By the set point, 95 %")
HOUR_HEAD = ("Scenario", "Schedule", "Lost time (%)", "Gaps per hour", "Windows (%)", "Systolic error (mmHg)",
             "Mean error (mmHg)", "Drift (mmHg/h)", "Output, rms error (%)", "Output, slope (%/h)",
             "A constant, rms error (%)", "Variation error (points)")
TURNS_HEAD = ("Shown", "Step of the level, SD (mmHg)", "Step of output (%)", "Error over the day, SD (mmHg)",
              "In its last hour (mmHg)")
HARM_HEAD = ("Failure", "Warned after (s)", "Systolic (mmHg)", "Mean (mmHg)", "Diastolic (mmHg)", "Output (%)",
             "Variation (points)")
QUICK = 5  # beats before a warning that nobody reads anything from


def readings_section(
    required: Required, figure: Any, trend: TrendDocument | None, pictures: dict[str, tuple[bytes, str]]
) -> Section:
    """One section; `figure` is that of the limits, `trend` and its pictures are there where a study was given."""
    body = paragraph("What this loop does to what is read from it, on a hundred virtual people: 95 % of them keep "
                     "these errors in each of nine states. Output is that of Liljestrand and Zander. Estimates from a "
                     "model, no clinical use; people scatter more than virtual people.", "lead")
    body += table(WORTH_HEAD, [[one.reading, one.unit, round(one.by_loop, 3), round(one.by_level, 3)]
                               for one in required.worth])
    body += paragraph(f"Light noise alone reads a variation with the breath of {required.floor_percent:.2f} %. Set "
                      f"point: SD {required.level_sd_mmHg:g} mmHg, supposed.", "note")
    body += picture(figure, "Error of readings over the bandwidth of a first-order loop, and this rig",
                    "figure-readings")
    if trend is None:
        body += paragraph("How readings last under schedules, on two fingers in turn and with failures is not part of "
                          "this report: `cuffloop trend --faults all --out FOLDER`, then `--trend FOLDER`.", "note")
    else:
        body += _hours(trend, pictures)
    return Section("readings", "Readings: what the loop owes them", body + paragraph(CAUTION, "note"))


def _hours(trend: TrendDocument, pictures: dict[str, tuple[bytes, str]]) -> str:
    def figures(*names: str) -> str:
        return "".join(image(png, words, f"figure-{name}") for name, (png, words) in pictures.items()
                       if name.startswith(names))

    rows = [[row["scenario"], row["schedule"], 100.0 * row["lost_share"], row["gaps_per_h"],
             100.0 * row["availability"], _pair(row["systolic_mmHg"]), _pair(row["arm_mean_mmHg"]),
             row["level_drift_mmHg_h"], row["output_rms_percent"], row["output_drift_percent_h"],
             row["null_rms_percent"], _pair(row["variation_percent"])] for row in trend["rows"]]
    body = "<h3>Over time, by schedule</h3>" + paragraph(
        f"{trend['person']}, {trend['minutes']:g} min each; errors against the person's truth at the upper arm, mean ± "
        f"SD of beats; windows: share of time with {trend['window_s']:g} s unbroken behind it; output by "
        f"{trend['estimator']} after a reference in the first minute.", "lead")
    body += table(HOUR_HEAD, rows, True) + figures("hour_")
    ways = [[way["way"], way["step_sd_mmHg"], way["step_output_percent"], way["error_sd_mmHg"],
             way["last_hour_sd_mmHg"]] for way in trend["turns"]["ways"]]
    told = trend["turns"]["told"]
    body += "<h3>Two fingers in turn</h3>" + paragraph(
        f"Turns of {told.get('turn_min', math.nan):g} min over {told.get('day_h', math.nan):g} h, SD over pairs of "
        "fingers whose spreads are invented; errors since the first minutes.", "lead")
    body += table(TURNS_HEAD, ways) + figures("turns")
    if trend["failures"]:
        body += _failures(trend) + figures("failures")
    return body + paragraph(f"Rerun: {trend['provenance']['command']}", "note")


def _failures(trend: TrendDocument) -> str:
    some = [one for one in trend["failures"] if one["beats"] >= QUICK]
    quick = len(trend["failures"]) - len(some)
    some.sort(key=lambda one: -abs(one["output_percent"]) if math.isfinite(one["output_percent"]) else 0.0)
    rows = [[one["name"].replace("_", " "), one["warned_s"], *(round(value, 2) for value in (
        one["systolic_mmHg"], one["mean_mmHg"], one["diastolic_mmHg"], one["output_percent"],
        one["variation_points"]))] for one in some]
    return "<h3>Failures and readings</h3>" + paragraph(
        f"{quick} of {len(trend['failures'])} failures are warned of within {QUICK} beats and reach no reading. Of the "
        "others the largest mean of five beats before a warning, against the same run without the failure.", "lead"
    ) + table(HARM_HEAD, rows, True)


def _pair(pair: list[float]) -> str:
    return f"{pair[0]:+.1f} ± {pair[1]:.1f}".replace("-", "−") if math.isfinite(pair[0]) else "–"
