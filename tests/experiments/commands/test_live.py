"""The bench's command hands over what was asked."""
from pathlib import Path

from experiments.bench.job import BenchOptions
from experiments.commands.live import COMMANDS


def test_the_job_gets_what_was_asked(cuffloop, monkeypatch):
    line = ["bench", "cabinet", "--port", "0", "--no-browser", "--requirements", "r.toml", "--set", "controller.kp=1"]
    given = BenchOptions(rigs=["cabinet"], port=0, browser=False, requirements=Path("r.toml"),
                         setting=["controller.kp=1"])
    asked = []
    monkeypatch.setattr("experiments.bench.job.bench_job", lambda options: asked.append(options) or 7)
    assert cuffloop(*line).status == 7 and asked == [given]
    assert [command.__name__ for command in COMMANDS] == ["bench"]
