"""`cuffloop bench --offline`: one file, or one line and no file."""
from pathlib import Path

from experiments.bench.offline import job
from experiments.bench.offline.job import command_of, offline_job
from tests.experiments.bench.helper import SETUP


def test_the_command_repeats_it():
    setup = SETUP._replace(settings=("controller.kp=0.02",), start_s=2.0, seed=3)
    assert command_of(setup, Path("out") / "x y.html") == (
        "cuffloop bench wrist --record synthetic --seconds 16 --start 2 --seed 3 --set controller.kp=0.02 "
        "--offline 'x y.html'")


def test_the_file_is_written_whole_and_said(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(job, "linker", lambda: ["none"])
    monkeypatch.setattr(job, "figure_page", lambda scene, command: f"{scene.rig.name}: {command}")
    assert offline_job(SETUP, tmp_path / "live.html") == 0
    assert (tmp_path / "live.html").read_text().startswith("wrist: cuffloop bench wrist --record synthetic")
    said = capsys.readouterr().out
    assert "without a server" in said and "not a medical device" in said
    assert [path.name for path in tmp_path.iterdir()] == ["live.html"]


def test_bad_input_is_one_line_and_no_file(refusal, tmp_path, monkeypatch):
    monkeypatch.setattr(job, "linker", lambda: ["none"])
    monkeypatch.setattr(job, "figure_page", lambda scene, command: "x")
    place = tmp_path / "none" / "live.html"
    assert "--offline" in refusal("bench", "wrist", "--record", "synthetic", "--offline", place)
    assert "nobody" in refusal("bench", "nobody", "--offline", tmp_path / "x.html")
    assert not list(tmp_path.iterdir())
