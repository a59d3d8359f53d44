"""Pictures of a comparison of schedules: lost time against error, and one finger over time."""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from experiments.calibration.schedule.measures import METRIC, BIN_s, LARGE_mmHg
from experiments.calibration.schedule.piece import Row
from experiments.calibration.schedule.study import Study
from experiments.calibration.schedule.summary import TOGETHER, Summary, efficient
from experiments.calibration.schedule.verdict import YARDSTICK
from experiments.work.style import AMBER, BLUE, GREEN, GREY, ORANGE, SKY, VIOLET, new_figure, stamp, tidy

COLOURS = (GREY, AMBER, BLUE, VIOLET, GREEN, ORANGE, SKY)
MARKERS = ("o", "s", "D", "v", "^", "P", "X", "*")
ROUND = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200)  # what is written at logarithmic axes
MOST_COLUMNS = 4
HEIGHT_mmHg = 12.0  # of the error axes at most: what is beyond is shown at their edge
PREFERRED = "cold"  # scenario of the picture over time, where it was run
SPOTS = (  # where a name may stand: points to the right and up, and which side of it is there
    (7.0, 0.0, "left"), (-7.0, 0.0, "right"), (0.0, 12.0, "center"), (0.0, -12.0, "center"), (7.0, 10.0, "left"),
    (7.0, -10.0, "left"), (-7.0, 10.0, "right"), (-7.0, -10.0, "right"), (0.0, 23.0, "center"), (0.0, -23.0, "center"),
)
BASELINE = "every"  # at fixed times, whatever happens: what others are held against
Box = tuple[float, float, float, float]  # left, bottom, right, top in points


def study_figures(study: Study, found: list[Summary]) -> dict[str, Callable[[], Any]]:
    """The pictures of a comparison, by the names of their files."""
    title = f"{study.rig.name}: {len(study.fingers)} fingers, {study.plan.seconds / 60.0:g} min each"
    return {"frontier": lambda: frontier_figure(found, title), "one_finger": lambda: course_figure(study)}


def frontier_figure(rows: list[Summary], title: str) -> Any:
    """A panel for each scenario and one for all: every schedule's lost time and error, and the Pareto front."""
    scenarios = list(dict.fromkeys(r.scenario for r in rows))
    names = list(dict.fromkeys(r.schedule for r in rows))
    columns = min(range(1, MOST_COLUMNS + 1), key=lambda n: (-(-len(scenarios) // n) * n - len(scenarios), -n))
    columns = min(columns, len(scenarios)) if columns > 2 else min(3, len(scenarios))
    lines = -(-len(scenarios) // columns)
    figure = new_figure(max(3.9 * columns, 7.5), 3.6 * lines + 0.9)
    panels = np.atleast_1d(figure.subplots(lines, columns, sharex=True, sharey=True, squeeze=False)).ravel()
    shown = [r for r in rows if math.isfinite(r.rms_mmHg)]
    for axes, scenario in zip(panels, scenarios, strict=False):
        axes.set_xscale("log")
        axes.set_yscale("log")
        tidy(axes, "", "")
        axes.set_title("all scenarios together" if scenario == TOGETHER else scenario, fontsize=10, loc="left",
                       fontweight="bold" if scenario == TOGETHER else "normal")
    if shown:  # the axes are shared: their ranges come first, labels are placed by them
        lost = [100.0 * r.lost_share for r in shown]
        panels[0].set_xlim(0.6 * min(lost), min(3.0 * max(lost), 150.0))  # room for names, but no share above 100 %
        panels[0].set_ylim(0.7 * min(r.rms_mmHg for r in shown), 1.5 * max(r.rms_mmHg for r in shown))
    for axes in panels[len(scenarios):]:
        axes.set_visible(False)
    for place, axes in enumerate(panels[: len(scenarios)]):
        _plain_numbers(axes)
        if place + columns >= len(scenarios):
            axes.set_xlabel("time without waveform (%)")
            axes.tick_params(labelbottom=True)
        if place % columns == 0:
            axes.set_ylabel("rms error of mean pressure (mmHg)")
    told = "lower left is better; the line is the Pareto front: what no other schedule beats in both"
    figure.suptitle(f"{title}\n{told}", fontsize=11, x=0.01, ha="left")
    stamp(figure, "scenarios and fingers are invented")
    figure.draw_without_rendering()  # labels are placed by where the panels come to lie
    for axes, scenario in zip(panels, scenarios, strict=False):
        _panel(axes, [r for r in shown if r.scenario == scenario], names)
    return figure


def _panel(axes: Any, rows: list[Summary], names: list[str]) -> None:
    points = [(100.0 * r.lost_share, r.rms_mmHg) for r in rows]
    best = efficient(points)
    if best:
        high, right = axes.get_ylim()[1], axes.get_xlim()[1]
        x, y = [points[best[0]][0]], [high]
        for i in best:
            x += [points[i][0], points[i][0]]
            y += [y[-1], points[i][1]]
        axes.plot([*x, right], [*y, y[-1]], color="0.6", linewidth=1.4, zorder=1)
    order = sorted(range(len(rows)), key=lambda i: points[i][1])
    used: list[Box] = []
    for i in order:
        place = names.index(rows[i].schedule)
        colour, marker = COLOURS[place % len(COLOURS)], MARKERS[place % len(MARKERS)]
        size, edge, width = (9.0, "black", 1.0) if i in best else (7.0, "white", 0.6)
        face, layer = colour, 3
        if rows[i].schedule.split(":")[0] == BASELINE:  # open, wide and above the others, that none hides it
            size, face, edge, width, layer = size + 5.0, "none", colour, 2.0, 4
        axes.plot(*points[i], marker=marker, color=colour, markersize=size, linestyle="none", markeredgecolor=edge,
                  markerfacecolor=face, markeredgewidth=width, zorder=layer, label=rows[i].schedule)
        _label(axes, rows[i].schedule, i, points, used, i in best)


def _label(axes: Any, text: str, place: int, points: list[tuple[float, float]], used: list[Box], bold: bool) -> None:
    """A name beside its point, where it covers the fewest names and points and stays inside the panel."""
    scale = 72.0 / axes.figure.dpi
    every = scale * axes.transData.transform(points)
    frame = axes.get_window_extent()
    inside = (scale * frame.x0, scale * frame.y0, scale * frame.x1, scale * frame.y1)
    width, height = (5.9 if bold else 5.3) * len(text) + 2.0, 11.0

    def box(spot: tuple[float, float, str]) -> Box:
        (x, y), (right, up, side) = every[place], spot
        left = x + right - {"left": 0.0, "right": width, "center": 0.5 * width}[side]
        return left, y + up - 0.5 * height, left + width, y + up + 0.5 * height

    def covered(spot: tuple[float, float, str]) -> float:
        own = box(spot)
        marks = [(x - 5.0, y - 5.0, x + 5.0, y + 5.0) for k, (x, y) in enumerate(every.tolist()) if k != place]
        outside = own[0] < inside[0] or own[1] < inside[1] or own[2] > inside[2] or own[3] > inside[3]
        return float(4.0 * outside + 3.0 * sum(_meet(own, b) for b in used) + 2.0 * sum(_meet(own, b) for b in marks))

    best = min(SPOTS, key=covered)  # the first of the best
    used.append(box(best))
    axes.annotate(text, points[place], xytext=best[:2], textcoords="offset points", va="center", ha=best[2],
                  fontsize=8.5, fontweight="bold" if bold else "normal", zorder=2,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85})


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _plain_numbers(axes: Any) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(FixedLocator(ROUND))
        axis.set_minor_locator(NullLocator())
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def chosen_finger(study: Study, scenario: int) -> int:
    """The finger in the middle by its error under the yardstick (or the first schedule): neither easy nor odd."""
    names = [s.name for s in study.schedules]
    errors = study.figures()[names.index(YARDSTICK) if YARDSTICK in names else 0, scenario, :, METRIC["mean_rms_ideal"]]
    order = np.argsort(np.where(np.isfinite(errors), errors, np.inf), kind="stable")
    return int(order[(len(order) - 1) // 2])


def course_figure(study: Study, scenario: int | None = None, finger: int | None = None) -> Any:
    """One finger in one scenario: its tone, and under each schedule the error over time and where nothing was shown."""
    plan = study.plan
    if scenario is None:
        scenario = plan.scenarios.index(PREFERRED) if PREFERRED in plan.scenarios else 0
    if finger is None:
        finger = chosen_finger(study, scenario)
    runs = [study.run(i, scenario, finger) for i in range(len(study.schedules))]
    figure = new_figure(11.0, 1.7 + 1.25 * len(runs) + 0.6)
    panels = figure.subplots(len(runs) + 1, 1, sharex=True, gridspec_kw={"height_ratios": [1.1] + [1.0] * len(runs)})
    top = panels[0]
    longest = max(runs, key=lambda r: r.course.shape[1])
    time = _time(longest)
    top.plot(time, longest.course[2], color=GREY, linewidth=1.6)
    tidy(top, "", "tone")
    low, high = top.get_ylim()
    top.set_ylim(low, high + 0.4 * (high - low))  # the events' names stand above the line
    top.set_title("tone of the finger's arteries: up is constricted", fontsize=9, loc="left")
    for moment, word in longest.marks:
        for axes in panels:
            axes.axvline(moment / 60.0, color="0.35", linewidth=0.9, linestyle=":")
        top.annotate(word, (moment / 60.0, 1.0), xycoords=("data", "axes fraction"), xytext=(3, -3), fontsize=8,
                     textcoords="offset points", va="top")
    finite = np.concatenate([np.abs(r.course[0][np.isfinite(r.course[0])]) for r in runs])
    reach = min(max(1.15 * float(np.max(finite, initial=0.0)), 1.2 * LARGE_mmHg), HEIGHT_mmHg)
    for place, (axes, named, run) in enumerate(zip(panels[1:], study.schedules, runs, strict=True)):
        _course(axes, run, COLOURS[place % len(COLOURS)], reach)
        figures = run.figures
        error, lost = figures[METRIC["mean_rms_ideal"]], figures[METRIC["lost_share"]]
        said = f"rms {error:.1f} mmHg" if math.isfinite(error) else "no beat shown"
        axes.set_title(f"{named.name}: {named.about}: {said}, {100 * lost:.1f} % lost, "
                       f"{figures[METRIC['interruptions']]:.0f} gaps", fontsize=9, loc="left")
        tidy(axes, "time (min)" if place == len(runs) - 1 else "", "mmHg")
    panels[-1].set_xlim(0.0, plan.seconds / 60.0)
    figure.suptitle(
        f"{study.rig.name}, {study.fingers[finger].name}, scenario {plan.scenarios[scenario]}: error of the shown mean "
        f"pressure\ngrey stripes: no waveform, lighter where it was gone for a part of {BIN_s:g} s; dashed: "
        f"±{LARGE_mmHg:g} mmHg",
        fontsize=11, x=0.01, ha="left")
    figure.align_ylabels()
    stamp(figure, "scenario and finger are invented")
    return figure


def _time(run: Row) -> Any:
    return (np.arange(run.course.shape[1]) + 0.5) * BIN_s / 60.0


def _course(axes: Any, run: Row, colour: str, reach: float) -> None:
    time, (error, shown, _) = _time(run), run.course
    lost = np.nan_to_num(1.0 - shown)
    bars = axes.bar(time, 2.2 * reach, BIN_s / 60.0, bottom=-1.1 * reach, linewidth=0, zorder=0)
    for bar, share in zip(bars, lost.tolist(), strict=True):
        bar.set_facecolor((0.3, 0.3, 0.3, 0.75 * max(min(share, 1.0), 0.0)))
    for level in (-LARGE_mmHg, LARGE_mmHg):
        axes.axhline(level, color="0.5", linewidth=0.8, linestyle="--")
    axes.axhline(0.0, color="0.5", linewidth=0.8)
    axes.plot(time, np.clip(error, -reach, reach), color=colour, linewidth=1.8)
    beyond = np.abs(error) > reach
    axes.plot(time[beyond], np.sign(error[beyond]) * reach, color=colour, marker=".", markersize=4, linestyle="none")
    axes.set_ylim(-1.1 * reach, 1.1 * reach)
