"""The entry point: light, and quiet when it is interrupted while it loads."""
import os
import subprocess
import sys
from pathlib import Path

import pytest

import cuffloop
from cuffloop import command, rooms

PATH = [rooms.installation(), str(Path(rooms.HERE).parent)]


def python(*arguments, first=()):
    path = os.pathsep.join([*map(str, first), *PATH])
    return subprocess.run([sys.executable, *arguments], capture_output=True, text=True, check=False,
                          env=os.environ | {"PYTHONPATH": path})


def test_ctrl_c_while_importing(tmp_path):
    """One line and status 130, wherever in the imports it comes."""
    (tmp_path / "typer.py").write_text(
        "import signal, time\nsignal.signal(signal.SIGINT, signal.default_int_handler)\n"  # a shell may ignore it
        "signal.raise_signal(signal.SIGINT)\ntime.sleep(60)\n")
    done = python("-c", "from cuffloop.command import main; main()", first=[tmp_path])
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "cuffloop: interrupted\n")


def test_it_runs_the_command_line(monkeypatch):
    ran = []
    monkeypatch.setattr("experiments.commands.main.main", lambda: ran.append(True))
    command.main()
    assert ran == [True]


def test_import_is_light():
    """Nothing of ours but the package itself, and no library."""
    done = python("-c", "import sys; before = set(sys.modules); import cuffloop; "
                        "print(sorted(m for m in set(sys.modules) - before if m != '__mp_main__'))")
    found = set(eval(done.stdout))
    assert {"cuffloop", "cuffloop.rooms", "experiments", "plant", "controller", "calibrate"} <= found
    assert not {m for m in found if m.partition(".")[0] in ("numpy", "numba", "scipy", "xarray", "typer", "typing")}
    assert not {m for m in found if m.startswith(("experiments.", "plant."))}


def test_everything_that_is_announced_is_there():
    for name in cuffloop.__all__:
        assert getattr(cuffloop, name).__doc__, name
    assert set(cuffloop.__all__) == set(cuffloop.PLACES) and set(cuffloop.__all__) <= set(dir(cuffloop))
    assert cuffloop.__version__
    with pytest.raises(AttributeError, match="has no attribute 'nonsense'"):
        _ = cuffloop.nonsense


def test_what_type_checkers_see_is_what_there_is():
    """The imports under TYPE_CHECKING name the same places as the table."""
    import ast

    tree = ast.parse(Path(cuffloop.__file__).read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    seen = {alias.name: node.module for node in block.body if isinstance(node, ast.ImportFrom)
            for alias in node.names if node.module != "typing"}
    assert seen == cuffloop.PLACES


def test_help_says_all(capsys):
    """Shapes, units, errors and an example in the help of each function."""
    for name in cuffloop.__all__:
        function = getattr(cuffloop, name)
        if isinstance(function, type) or name == "progress":
            continue
        text = function.__doc__
        assert ">>> import cuffloop" in text or "is not run" in text, name
        assert name in ("rigs", "progress") or "InputError" in text, name
    text = cuffloop.check.__doc__
    assert all(word in text for word in ("[mmHg]", "[s]", "[°]", "Returns:", "Raises:", "time_s"))
