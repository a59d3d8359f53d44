"""A comparison summed up: rows, frontier and yardstick against figures made by hand."""
import io
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.calibration.schedule.measures import METRIC, METRICS
from experiments.calibration.schedule.piece import Row
from experiments.calibration.schedule.study import Study
from experiments.calibration.schedule.text import (
    Summary,
    against_yardstick,
    efficient,
    lines_after,
    lines_before,
    print_table,
    study_json,
    summaries,
    summary_of,
    table,
)

NAN = math.nan


def made(failures: dict[str, int] | None = None, **figures: float) -> Row:
    values = np.full(len(METRICS), NAN)
    for name, value in ({"beats": 100.0, "seconds": 1800.0, "interruptions": 0.0} | figures).items():
        values[METRIC[name]] = value
    return Row(values, np.zeros((3, 4), np.float32), "in time", failures or {}, (), ())


def row(scenario: str, schedule: str, rms: float, lost: float) -> Summary:
    return summary_of(scenario, schedule, [made(mean_rms_ideal=rms, lost_share=lost)])


def test_a_row_sums_up_its_fingers() -> None:
    runs = [
        made({"no pulse": 1}, mean_rms_ideal=3.0, mean_bias_ideal=1.0, mean_sd_ideal=2.0, lost_share=0.1,
             interruptions=2.0, recovery=10.0, unrecovered=1.0, longest_large=5.0, highest_cuff=150.0),
        made({"no pulse": 2, "timed out": 1}, mean_rms_ideal=4.0, mean_bias_ideal=-3.0, mean_sd_ideal=1.0,
             lost_share=0.3, interruptions=6.0, recovery=NAN, unrecovered=0.0, longest_large=50.0, highest_cuff=140.0),
        made(beats=0.0, lost_share=1.0),
    ]
    found = summary_of("cold", "every", runs)
    assert (found.fingers, found.silent, found.failures) == (3, 1, {"no pulse": 3, "timed out": 1})
    assert found.rms_mmHg == pytest.approx(math.sqrt((9.0 + 16.0) / 2.0)) and found.median_mmHg == 3.5
    # every finger has the same weight: bias is the mean of biases, variance that within plus that between
    assert found.mean == pytest.approx((-1.0, math.sqrt((4.0 + 1.0) / 2.0 + 4.0)))
    assert found.lost_share == pytest.approx(1.4 / 3.0) and found.interruptions_per_h == pytest.approx(8.0 / 1.5)
    assert (found.recovery_s, found.unrecovered, found.longest_large_s) == (10.0, 0.5, 50.0)
    assert found.highest_mmHg == 150.0


def test_fingers_that_never_showed_anything() -> None:
    found = summary_of("cold", "every", [made(beats=0.0, lost_share=1.0)] * 2)
    assert found.silent == 2 and math.isnan(found.rms_mmHg) and math.isnan(found.mean[0])


def test_the_frontier_of_a_hand_made_set() -> None:
    """By lost time: a point counts when nothing that loses no more has as little error."""
    points = [(0.10, 5.0), (0.02, 9.0), (0.05, 6.0), (0.05, 7.0), (0.20, 5.0), (0.30, 1.0), (0.01, NAN), (0.02, 9.5)]
    assert efficient(points) == [1, 2, 0, 5]
    assert efficient([]) == [] and efficient([(0.1, NAN)]) == []


POINT = st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 100.0))


@given(st.lists(POINT, max_size=12))
def test_the_frontier_is_what_no_other_point_beats(points: list[tuple[float, float]]) -> None:
    """Each one on it is beaten by none in both; each one off it is, or is met by one that is on it."""
    best = efficient(points)
    for i, (lost, error) in enumerate(points):
        beaten = any(a <= lost and b <= error and (a, b) != (lost, error) for a, b in points)
        if i in best:
            assert not beaten
        else:
            assert beaten or any(points[k] == (lost, error) for k in best)


def test_the_yardstick() -> None:
    """Only schedules that lose no more time than it count; the best of them is named with its share of the error."""
    rows = [row("cold", "growing", 8.0, 0.1), row("cold", "steady", 2.0, 0.1), row("cold", "signs", 1.0, 0.11),
            row("cold", "never", 20.0, 0.01), row("pain", "steady", 2.0, 0.1), row("warm", "growing", 1.0, 0.0)]
    found = against_yardstick(rows)
    assert [(a.scenario, a.schedule, a.error_ratio) for a in found] == [("cold", "steady", 0.25)]
    assert (found[0].lost_share, found[0].yardstick_lost_share) == (0.1, 0.1)


def test_rows_of_a_comparison(comparison: Study) -> None:
    """One a scenario and schedule, then all scenarios together; each scenario has a frontier."""
    rows = summaries(comparison)
    assert [(r.scenario, r.schedule) for r in rows] == [
        (s, n) for s in ("quiet", "cold", "all") for n in ("never", "growing", "steady")
    ]
    assert [r.fingers for r in rows] == [2] * 6 + [4] * 3
    for scenario in ("quiet", "cold", "all"):
        assert any(r.efficient for r in rows if r.scenario == scenario)
    figures = comparison.figures()[..., METRIC["lost_share"]]
    for i in range(3):
        assert rows[6 + i].lost_share == pytest.approx(np.mean(figures[i]))
        assert rows[3 + i].lost_share == pytest.approx(np.mean(figures[i, 1]))


def text_of(body: Any) -> str:
    from rich.console import Console

    out = io.StringIO()
    Console(file=out, width=200).print(body)
    return out.getvalue()


def test_the_table_shows_what_the_rows_say() -> None:
    rows = [
        row("cold", "never", 12.345, 0.019)._replace(mean=(-3.2, 4.56), recovery_s=120.0, unrecovered=0.5),
        row("cold", "steady", 1.5, 0.02)._replace(efficient=True, failures={"no pulse": 2}, silent=1),
    ]
    lines = text_of(table(rows)).splitlines()
    never, steady = (next(line for line in lines if name in line) for name in ("never", "steady"))
    assert never.split()[:3] == ["cold", "never", "12.35"] and "-3.2 ± 4.6" in never and "1.9 %" in never
    assert ">120 s" in never and "*" not in never
    assert "*" in steady and steady.split()[0] == "steady" and "1 of 1 silent, 2 no pulse" in steady
    assert "failures" not in text_of(table(rows[:1]))


def test_lines_about_a_comparison(comparison: Study, capsys: pytest.CaptureFixture[str]) -> None:
    rows = summaries(comparison)
    print_table(comparison, rows)
    said = capsys.readouterr().out
    assert "wrist: 3 schedules × 2 scenarios × 2 fingers (mixed, seed 1), 2 min each" in said
    for line in [*lines_before(comparison), *lines_after(comparison, rows)]:
        assert line in said
    assert "have" not in said


def test_runs_that_ended_early_are_named(comparison: Study) -> None:
    runs = {k: list(v) for k, v in comparison.runs.items()}
    for key in runs:
        runs[key] = [run._replace(ended="gave up: no pulse") for run in runs[key]]
    broken = replace(comparison, runs=runs)
    lines = lines_after(broken, summaries(broken))
    assert "quiet, never, mixed-1-0000: gave up: no pulse" in lines
    assert lines[-1] == "… and 7 more runs that ended before their time"
    assert len(study_json(broken, [])["ended_early"]) == 12


def test_json_names_everything(comparison: Study) -> None:
    found = study_json(comparison, summaries(comparison))
    assert list(found["schedules"]) == ["never", "growing", "steady"] and found["minutes"] == 2.0
    assert len(found["rows"]) == 9 and found["rows"][0]["scenario"] == "quiet" and found["steps_a_tick"] == 2
    assert {a["scenario"] for a in found["against_growing"]} <= {"quiet", "cold", "all"}
