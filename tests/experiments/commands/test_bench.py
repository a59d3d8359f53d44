"""The bench's command hands over what was asked."""
from pathlib import Path

from experiments.commands.bench import COMMANDS
from experiments.commands.jobs.bench import BenchOptions
from tests.experiments.commands.handing_over import handed_over


def test_the_job_gets_what_was_asked(cuffloop, monkeypatch):
    line = ["bench", "cabinet", "--port", "0", "--no-browser", "--requirements", "r.toml", "--set", "controller.kp=1"]
    given = BenchOptions(rigs=["cabinet"], port=0, browser=False, requirements=Path("r.toml"),
                         setting=["controller.kp=1"])
    assert handed_over(cuffloop, monkeypatch, line, "bench.bench_job") == [given]
    assert [command.__name__ for command in COMMANDS] == ["bench"]
