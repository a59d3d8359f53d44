"""The four packages are found where cuffloop is installed, whatever lies beside a script."""
import os
import subprocess
import sys
from pathlib import Path

import pytest

import plant
from cuffloop import rooms

TOP = Path(rooms.installation())  # a checkout, or where the packages are installed
PATH = os.pathsep.join([str(TOP), str(Path(rooms.HERE).parent)])
OURS = "import experiments.work.asked, plant.errors; print(experiments.__file__); print(plant.__file__)"


@pytest.fixture
def beside(tmp_path):
    """A folder with packages of the user's that are called like ours."""
    for room in rooms.ROOMS:
        (tmp_path / room).mkdir()
        (tmp_path / room / "__init__.py").write_text("raise RuntimeError('the wrong one')\n")
    return tmp_path


def script(folder: Path, text: str) -> subprocess.CompletedProcess[str]:
    """Run a script that lies in a folder, from there; Python looks in it first."""
    (folder / "mine.py").write_text(text)
    return subprocess.run([sys.executable, "mine.py"], cwd=folder, capture_output=True, text=True, check=False,
                          env=os.environ | {"PYTHONPATH": PATH})


def test_the_installation_is_found():
    assert Path(plant.__file__).parent == TOP / "plant" and (TOP / "experiments" / "front").is_dir()


def test_a_script_beside_folders_of_our_names(beside):
    done = script(beside, f"import cuffloop\n{OURS}\nprint(cuffloop.wear(12, 1).passed)\n")
    assert done.returncode == 0, done.stderr
    ours, plant, passed = done.stdout.splitlines()
    assert Path(ours).parent == TOP / "experiments" and Path(plant).parent == TOP / "plant" and passed == "False"


def test_the_command_in_such_a_folder(beside):
    words = ["wear", "--hours", "12", "--fingers", "2"]
    done = subprocess.run([sys.executable, "-m", "cuffloop", *words], cwd=beside, capture_output=True,
                          text=True, check=False, env=os.environ | {"PYTHONPATH": PATH})
    assert done.returncode == 0 and "accepted" in done.stdout, done.stderr


def test_workers_of_such_a_script(beside):
    """A process that computes imports the script again, and finds ours through it or through what it is sent."""
    done = script(beside, """
if __name__ == "__main__":
    import cuffloop
    from experiments.front.inputs import engine_of
    engine = engine_of(2, None)._replace(begin_here_s=0.0)
    from experiments.work.run import run
    from plant.messages import one_line
    print(run(["a", "b"], one_line, engine=engine))
""")
    assert done.returncode == 0 and done.stdout == "['a', 'b']\n", done.stderr


def test_what_was_imported_before_is_named(tmp_path):
    (tmp_path / "experiments").mkdir()
    (tmp_path / "experiments" / "__init__.py").write_text("")
    done = script(tmp_path, "import experiments\nimport cuffloop\n")
    last = done.stderr.splitlines()[-1]
    assert done.returncode == 1 and last.startswith("ImportError: cuffloop needs its own package 'experiments'")
    assert str(tmp_path / "experiments") in last and "import cuffloop first" in last


def test_half_an_installation(monkeypatch, tmp_path):
    monkeypatch.setattr(rooms, "HERE", str(tmp_path / "a" / "cuffloop"))
    with pytest.raises(ImportError, match="not whole"):
        rooms.installation()


def test_claiming_twice_changes_nothing():
    before = sys.modules["experiments"]
    rooms.claim_rooms()
    assert sys.modules["experiments"] is before
