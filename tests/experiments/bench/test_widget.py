"""The bench from Python: what is turned can be read and set."""
import pytest

import cuffloop
from experiments.bench.widget import made
from experiments.guide.build import lessons_see_the_sources
from experiments.rigs.rig import load_rig
from plant.errors import InputError
from tests.experiments.bench.helper import SETUP


def test_settings_are_a_rig():
    rig = made(SETUP, "wrist", {"controller.kp": 0.02, "valve.kind": "pressure", "actuator.kind": "direct"})
    assert rig.controller.kp == 0.02 and type(rig.plant.valve).__name__ == "PressureValve"
    assert rig.given[0] == "wrist"  # a study can load it anew
    with pytest.raises(InputError):
        made(SETUP, "wrist", {"valve.kind": "x.py:X"})


def test_a_widget_shows_a_rig_with_its_settings():
    pytest.importorskip("anywidget", reason="anywidget is not installed")
    shown = cuffloop.bench(load_rig("wrist", ["tube.length_m=0.3"]), record="synthetic", seconds=16)
    shown.settings = {"controller.kp": 0.02}
    rig = shown.made()
    assert rig.controller.kp == 0.02 and rig.plant.tube.length_m == 0.3 and shown.rig == "wrist"
    with pytest.raises(InputError):
        cuffloop.bench("nothing")
    shown.close()


CELLS = (
    'import cuffloop\nshown = cuffloop.bench("wrist", record="synthetic")\nshown',
    'shown.settings = {"controller.kp": 0.02}\nprint(shown.rig, shown.made().controller.kp)\nshown.close()',
)


def test_a_notebook_shows_it_and_sets_it():
    """Executed by nbclient in a kernel of its own, as a notebook is."""
    pytest.importorskip("anywidget", reason="anywidget is not installed")
    nbclient = pytest.importorskip("nbclient", reason="nbclient is not installed")
    nbformat = pytest.importorskip("nbformat", reason="nbformat is not installed")
    pytest.importorskip("ipykernel", reason="ipykernel is not installed")
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in CELLS])
    with lessons_see_the_sources():
        nbclient.NotebookClient(book, timeout=120, kernel_name="python3").execute()
    first, second = (cell["outputs"] for cell in book["cells"])
    (shown,) = (output["data"] for output in first if "data" in output)
    assert "application/vnd.jupyter.widget-view+json" in shown
    assert second[0]["text"] == "wrist 0.02\n"
