"""`python -m cuffloop`."""
import os
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parents[4]


def test_it_is_the_command():
    path = os.pathsep.join([str(TOP), str(TOP / "experiments" / "package")])
    done = subprocess.run([sys.executable, "-m", "cuffloop", "--version"], capture_output=True, text=True, check=False,
                          env=os.environ | {"PYTHONPATH": path})
    assert done.returncode == 0 and done.stdout.startswith("cuffloop ") and done.stdout.count("\n") == 1
