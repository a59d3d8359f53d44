"""Schedules against the yardstick."""
from experiments.calibration.schedule.verdict import against_yardstick
from tests.experiments.calibration.schedule.schedule_rows import row


def test_the_yardstick() -> None:
    """Only schedules that lose no more time than it count; the best of them is named with its share of the error."""
    rows = [row("cold", "every", 8.0, 0.1), row("cold", "steady", 2.0, 0.1), row("cold", "signs", 1.0, 0.11),
            row("cold", "never", 20.0, 0.01), row("pain", "steady", 2.0, 0.1), row("warm", "every", 1.0, 0.0)]
    found = against_yardstick(rows)
    assert [(a.scenario, a.schedule, a.error_ratio) for a in found] == [("cold", "steady", 0.25)]
    assert (found[0].lost_share, found[0].yardstick_lost_share) == (0.1, 0.1)
