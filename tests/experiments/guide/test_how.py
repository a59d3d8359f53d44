"""What the how-to pages print is run as printed, by the reader's way: a file beside the shell, and the command."""
import json
import os
import re
import shutil
import subprocess
import sys

import pytest
import xarray

from experiments.guide.build import PAGES, lessons_see_the_sources
from tests.experiments.conftest import said


def printed(page, language, number=0):
    """A block of a how-to page, word by word."""
    text = (PAGES / "how" / f"{page}.md").read_text(encoding="utf-8")
    blocks = re.findall(rf"^```{language}\n(.*?)^```$", text, re.M | re.S)
    return str(blocks[number])


@pytest.fixture
def run(tmp_path):
    """Run a script in a folder of its own."""

    def script(text):
        (tmp_path / "script.py").write_text(text)
        with lessons_see_the_sources():
            return subprocess.run([sys.executable, "script.py"], cwd=tmp_path, capture_output=True, text=True,
                                  env=os.environ.copy(), check=False, timeout=300)

    return script


def test_the_script_of_fifteen_lines(run, tmp_path):
    """Checks a rig of its own, sweeps two gains, plots, and stores NetCDF."""
    text = printed("script", "python")
    assert len(text.splitlines()) <= 15
    ended = run(text)
    assert ended.returncode == 0, ended.stderr
    with xarray.open_dataset(tmp_path / "sweep.nc") as data:
        assert dict(data["phase_margin_deg"].sizes) == {"controller.kp": 7, "controller.td_s": 3}
        assert data["phase_margin_deg"].attrs["units"] == "°"
    for name in ("margins.png", "sweep.png"):
        assert (tmp_path / name).read_bytes().startswith(b"\x89PNG")
    assert "phase margin" in ended.stdout


def test_comparing(run, tmp_path):
    ended = run(printed("compare", "python"))
    assert ended.returncode == 0, ended.stderr
    assert "timing.dead_time_s s (0.001, 0.002)" in ended.stdout and (tmp_path / "compare.png").is_file()


def test_a_rig_and_limits_of_ones_own(tmp_path):
    (tmp_path / "mine.toml").write_text(printed("rig", "toml", 0))
    (tmp_path / "my_limits.toml").write_text(printed("rig", "toml", 1))
    found = said("check", tmp_path / "mine.toml", "--record", "synthetic", "--requirements",
                 tmp_path / "my_limits.toml", "--json")
    assert found.status in (0, 1) and found.err == ""
    assert "phase_margin_deg" in json.dumps(json.loads(found.out)["verdicts"])


def test_a_record(run):
    ended = run(printed("record", "python"))
    assert ended.returncode == 0 and ended.stdout.startswith("30.0 "), ended.stderr


def test_a_search_of_ones_own(tmp_path, monkeypatch):
    (tmp_path / "my_search.py").write_text(printed("search", "python"))
    monkeypatch.chdir(tmp_path)
    found = said("search", "--strategy", "my_search.py:ThreeLooks", "--json")
    assert found.status == 0 and found.err == ""


def test_a_valve_of_ones_own(run, tmp_path):
    """In a process of its own, since it registers verbs."""
    (tmp_path / "my_valve.py").write_text(printed("valve", "python"))
    (tmp_path / "own.toml").write_text(printed("valve", "toml"))
    ended = run("import cuffloop\nresult = cuffloop.margins('own.toml')\nprint(result.passed)\n")
    assert ended.returncode == 0 and ended.stdout == "True\n", ended.stderr


def test_a_detector_of_ones_own(run, tmp_path):
    """It fires once the reading has stood still in a clamp for longer than allowed, and not before."""
    (tmp_path / "detectors_mine.py").write_text(printed("detector", "python"))
    ended = run("""
import cuffloop
from detectors_mine import Stillness, StillnessState, stillness_step
from tests.controller.protection.detector_bench import QUIET
part, state, fired = Stillness(), StillnessState(0.0, 0.0, False), []
for tick in range(4000):
    state = stillness_step(part, state, QUIET._replace(reading_mmHg=90.0))
    fired.append(state.fires)
print(fired.index(True))
print(stillness_step(part, state, QUIET._replace(reading_mmHg=95.0)).fires)
""")
    assert ended.returncode == 0, ended.stderr
    first, moved = ended.stdout.split()
    assert 3000 <= int(first) <= 3002 and moved == "False"


@pytest.mark.skipif(shutil.which("gcc") is None, reason="no gcc on this machine")
def test_a_firmware_of_ones_own(tmp_path):
    (tmp_path / "my.c").write_text(printed("firmware", "c"), encoding="utf-8")
    found = said("loop", "wrist", "--firmware", tmp_path / "my.c", "--record", "synthetic", "--seconds", "9", "--json")
    document = json.loads(found.out)
    assert found.err == "" and document["run"]["status"] in ("done", "saturated")
    assert [finding for finding in document["findings"] if finding["kind"] != "range"] == []
