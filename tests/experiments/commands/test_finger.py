"""Commands about the finger hand over what was asked."""
import pytest

from experiments.commands import finger
from experiments.commands.jobs.fingers import FingersOptions
from experiments.commands.jobs.height import HeightOptions
from experiments.commands.jobs.schedules import SchedulesOptions
from experiments.commands.jobs.search import SearchOptions
from experiments.commands.jobs.wear import WearOptions
from tests.experiments.commands.handing_over import handed_over

CASES = [
    (["search", "--strategy", "probing"], "search.search_job", SearchOptions(strategy="probing")),
    (["search", "--fingers", "9", "--workers", "2"], "search.search_job", SearchOptions(fingers=9, workers=2)),
    (["schedules", "--full", "--cluster", "tcp://a:1"], "schedules.schedules_job",
     SchedulesOptions(full=True, cluster="tcp://a:1")),
    (["height", "--sensor", "gain=1"], "height.height_job", HeightOptions(sensor=["gain=1"])),
    (["fingers", "cold", "--fingers", "7", "--json"], "fingers.fingers_job",
     FingersOptions(group="cold", count=7, as_json=True)),
    (["wear", "--hours", "8", "--fingers", "1"], "wear.wear_job", WearOptions(hours=8.0, fingers=1)),
]


@pytest.mark.parametrize(("line", "job", "given"), CASES, ids=lambda value: value if isinstance(value, str) else None)
def test_the_job_gets_what_was_asked(cuffloop, monkeypatch, line, job, given):
    assert handed_over(cuffloop, monkeypatch, line, job) == [given]


def test_every_command_is_listed():
    assert {case[0][0] for case in CASES} == {function.__name__ for function in finger.COMMANDS}
