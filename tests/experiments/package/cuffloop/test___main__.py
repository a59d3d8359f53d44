"""`python -m cuffloop`."""
import os
import subprocess
import sys
from pathlib import Path

from cuffloop import rooms


def test_it_is_the_command():
    path = os.pathsep.join([rooms.installation(), str(Path(rooms.HERE).parent)])
    done = subprocess.run([sys.executable, "-m", "cuffloop", "--version"], capture_output=True, text=True, check=False,
                          env=os.environ | {"PYTHONPATH": path})
    assert done.returncode == 0 and done.stdout.startswith("cuffloop ") and done.stdout.count("\n") == 1
