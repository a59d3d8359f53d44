"""Commands about readings hand over what was asked."""
from pathlib import Path

import pytest

from experiments.commands import readings
from experiments.commands.jobs.readings.agree import AgreeOptions
from experiments.commands.jobs.readings.readings import ReadingsOptions
from experiments.commands.jobs.readings.require import RequireOptions
from experiments.commands.jobs.readings.trend import TrendJobOptions
from tests.experiments.commands.handing_over import handed_over

CASES = [
    (["readings", "--record", "person:45f", "--estimator", "shape", "--reference", "60", "--ventilated",
      "--arm", "tube", "--cuff", "20:118/76", "--cuff", "40:120/78"],
     "readings.readings.readings_job",
     ReadingsOptions(record="person:45f", estimator="shape", reference=60.0, ventilated=True, arm="tube",
                     cuff=["20:118/76", "40:120/78"])),
    (["require", "cabinet", "--output", "5", "--level", "3"], "readings.require.require_job",
     RequireOptions(rig="cabinet", output=5.0, level=3.0)),
    (["agree", "a.csv", "b.csv", "--unit", "L/min", "--truth", "constant", "--zone", "0.5", "--iso"],
     "readings.agree.agree_job",
     AgreeOptions(tested=Path("a.csv"), reference=Path("b.csv"), column="value", unit="L/min", truth="constant",
                  zone=0.5, reference_precision=None, iso=True)),
    (["trend", "cabinet", "--schedules", "never", "--scenarios", "cold", "--minutes", "5", "--faults", "all"],
     "readings.trend.trend_job",
     TrendJobOptions(rig="cabinet", chosen="never", scenarios="cold", minutes=5.0, faults="all")),
]


@pytest.mark.parametrize(("line", "job", "given"), CASES, ids=lambda value: value if isinstance(value, str) else None)
def test_the_job_gets_what_was_asked(cuffloop, monkeypatch, line, job, given):
    assert handed_over(cuffloop, monkeypatch, line, job) == [given]


def test_every_command_is_listed():
    assert {case[0][0] for case in CASES} == {function.__name__ for function in readings.COMMANDS}
