"""Readings over hours as lines and as plain data."""
from __future__ import annotations

import math
from typing import Any

from experiments.trend.failures import READINGS, UNITS, Harm
from experiments.trend.study import Study
from experiments.trend.turns import WAYS, Day
from experiments.trend.windows import WINDOW_s, Worth
from experiments.work.output import CAUTION

QUICK = 5  # beats before a warning that nobody reads anything from


def trend_lines(study: Study) -> list[str]:
    """Schedules, then two fingers, then failures."""
    plan = study.plan
    lines = [
        f"{plan.rig.name}, {plan.name}, {plan.seconds / 60:g} min each; errors against the person's truth at the upper "
        "arm [mmHg]: mean ± SD of beats",
        f"windows: share of time with {WINDOW_s:g} s unbroken behind it; output by {plan.estimator} after a reference "
        "in the first minute: rms of",
        "windows, slope, and rms of a constant; variation: of stroke volume with the breath, error in points", "",
        f"{'scenario':<14}{'schedule':<12}{'lost':>7}{'gaps/h':>8}{'windows':>9}{'systolic':>14}{'mean':>14}"
        f"{'drift':>10}{'output':>9}{'slope':>11}{'constant':>10}{'variation':>14}"]
    before = ""
    for row in study.rows:
        lines.append(_row(row, row.scenario if row.scenario != before else ""))
        before = row.scenario
    lines += [f"{row.scenario}, {row.schedule}: {row.ended}" for row in study.rows if row.ended != "in time"]
    lines += ["", *day_lines(study.day)]
    if study.harms:
        lines += ["", *harm_lines(study.harms)]
    return [*lines, "", "Virtual person, scenarios, spreads of fingers: invented. Estimates from a model, no clinical "
            "use.", CAUTION]


def _row(row: Worth, name: str) -> str:
    return (f"{name:<14}{row.schedule:<12}{100 * row.lost_share:>5.1f} %{row.gaps_per_h:>8.1f}"
            f"{100 * row.availability:>7.0f} %{_pair(row.systolic_mmHg):>14}{_pair(row.arm_mean_mmHg):>14}"
            f"{_signed(row.level_drift_mmHg_h, '/h'):>10}{_share(row.output_rms_percent):>9}"
            f"{_signed(row.output_drift_percent_h, ' %/h'):>11}{_share(row.null_rms_percent):>10}"
            f"{_pair(row.variation_percent):>14}")


def day_lines(day: Day) -> list[str]:
    """Two fingers in turn."""
    told = day.told
    lines = [f"two fingers in turn, every {told.turn_min:g} min over {told.day_h:g} h: SD over pairs of fingers", "",
             f"{'shown':<14}{'step of the level':>20}{'of output':>12}{'error over the day':>21}"
             f"{'in its last hour':>19}"]
    for way in WAYS:
        step, error = day.step_sd_mmHg(way), day.error_sd_mmHg(way)
        last = day.error_sd_mmHg(way, told.day_h - min(1.0, told.day_h))
        lines.append(f"{way:<14}{step:>15.1f} mmHg{day.output_percent(step):>10.1f} %{error:>16.1f} mmHg"
                     f"{last:>14.1f} mmHg")
    lines.append("error since the first minutes; output by Liljestrand–Zander, at systolic + diastolic 190 mmHg")
    return lines


def silent(harms: list[Harm]) -> list[Harm]:
    """Failures under which some beats were read, the worst for output first."""
    some = [h for h in harms if h.beats >= QUICK]
    return sorted(some, key=lambda h: -abs(h.output_percent) if math.isfinite(h.output_percent) else 0.0)


def harm_lines(harms: list[Harm]) -> list[str]:
    """What failures do to readings before somebody warns."""
    quick = [h for h in harms if h.beats < QUICK]
    lines = [f"{len(quick)} of {len(harms)} failures are warned of within {QUICK} beats and reach no reading; the "
             "others, largest mean of five beats", "",
             f"{'failure':<26}{'warned':>10}" + "".join(f"{name:>12}" for name in READINGS)]
    for one in silent(harms):
        when = "never" if math.isinf(one.warned_s) else f"{one.warned_s:.1f} s"
        lines.append(f"{one.name.replace('_', ' '):<26}{when:>10}"
                     + "".join(f"{signed(v):>12}" for v in one.changes.values()))
    lines.append("pressures in mmHg, output in %, variation in points that scatter of the pulse adds")
    return lines


def _pair(pair: tuple[float, float]) -> str:
    return f"{pair[0]:+.1f} ±{pair[1]:4.1f}" if math.isfinite(pair[0]) else "–"


def _share(value: float) -> str:
    return f"{value:.1f} %" if math.isfinite(value) else "–"


def _signed(value: float, unit: str) -> str:
    return f"{value:+.1f}{unit}" if math.isfinite(value) else "–"


def signed(value: float) -> str:
    """A change with its sign; 0 without."""
    if not math.isfinite(value):
        return "–"
    return "0" if abs(value) < 0.05 else f"{value:+.1f}"


def trend_json(study: Study) -> dict[str, Any]:
    """The same as plain data, without the courses, which are in the NetCDF file."""
    plan, day = study.plan, study.day
    return {
        "rig": plan.rig.name, "person": plan.name, "minutes": plan.seconds / 60.0, "estimator": plan.estimator,
        "window_s": WINDOW_s,
        "rows": [{name: value for name, value in row._asdict().items() if name not in ("course", "shown_s")}
                 for row in study.rows],
        "turns": {"told": day.told._asdict(), "ways": [
            {"way": way, "step_sd_mmHg": day.step_sd_mmHg(way), "error_sd_mmHg": day.error_sd_mmHg(way),
             "last_hour_sd_mmHg": day.error_sd_mmHg(way, day.told.day_h - min(1.0, day.told.day_h)),
             "step_output_percent": day.output_percent(day.step_sd_mmHg(way))} for way in WAYS]},
        "failures": [one._asdict() for one in study.harms], "units": UNITS,
    }
