import pytest

from tests.experiments.trend.one_study import one_study


def test_a_row_for_each_schedule_and_progress_to_the_end():
    study, told = one_study()
    assert [(row.scenario, row.schedule) for row in study.rows] == [("quiet", "every:20"), ("quiet", "steady")]
    assert list(told) == sorted(told) and told[-1] == pytest.approx(1.0) and told[1] == pytest.approx(0.6)
    assert [one.name for one in study.harms] == ["valve_stuck_open", "height_wrong"]


def test_a_schedule_that_interrupts_loses_windows_and_a_steady_one_does_not():
    every, steady = one_study()[0].rows
    assert steady.gaps_per_h == 0.0 and steady.availability > 0.7 and every.gaps_per_h > 60.0
    assert every.availability < 0.6 * steady.availability and every.lost_share > steady.lost_share
    assert abs(steady.variation_percent[0]) < 2.0
    for row in (every, steady):
        assert row.ended == "in time" and abs(row.arm_mean_mmHg[0]) < 8.0 and row.output_rms_percent < 10.0
