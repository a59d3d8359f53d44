"""The table, the lines about it and the plain data of a comparison."""
import io
from dataclasses import replace
from typing import Any

from experiments.calibration.schedule.study import Study
from experiments.calibration.schedule.summary import summaries
from experiments.calibration.schedule.text import lines_after, lines_before, study_json, study_lines, table
from tests.experiments.calibration.schedule.schedule_rows import row


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


def test_lines_about_a_comparison(comparison: Study) -> None:
    rows = summaries(comparison)
    said = "\n".join(study_lines(comparison, rows))
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
    assert found["against_every"] == []  # which was not among them
