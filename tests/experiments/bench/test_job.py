"""The bench's job: what it starts with, and what it refuses."""
from pathlib import Path

from experiments.bench import job
from experiments.bench.job import BenchOptions, bench_job, setup_of
from tests.experiments.conftest import refused


def test_setup_has_what_the_command_line_said():
    options = BenchOptions(rigs=["cabinet"], seconds=20.0, requirements=Path("x.toml"), setting=["a.b=1"], seed=3)
    setup = setup_of(options)
    assert setup.rigs == ("cabinet", "wrist") and setup.requirements == "x.toml" and setup.settings == ("a.b=1",)
    assert (setup.seconds, setup.seed, setup.record) == (20.0, 3, None)


def test_it_serves_until_it_is_ended(monkeypatch):
    asked = []
    monkeypatch.setattr(job, "serve", lambda *given: asked.append(given))
    assert bench_job(BenchOptions(rigs=["wrist"], port=0, browser=False, new_key=True)) == 0
    assert asked[0][1:] == (0, False, True)


def test_bad_input_is_one_line():
    assert "must be from 0 to 65535" in refused("bench", "--port", "70000")
    assert "nothing" in refused("bench", "nothing", "--no-browser")
    assert "controller.kp" in refused("bench", "wrist", "--no-browser", "--set", "controller.kp=-1")
