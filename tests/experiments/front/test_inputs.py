"""What functions of the Python interface take."""
from importlib.util import find_spec

import numpy as np
import pytest

from experiments.front import inputs
from experiments.front.inputs import (
    Work,
    bounded,
    engine_of,
    given_of,
    load_rig,
    pressure_of,
    pressure_on,
    read_record,
    rig_of,
    settings_list,
)
from experiments.rigs.rig import Rig, parameters_of
from experiments.work.chunks import MANIFEST
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.front.front_bench import doctests_of


def test_synthetic_pressure():
    """As long as asked for (30 s by default), on the rig's tick; a later start is a later part of the same pressure."""
    assert len(pressure_of(1e-3, "synthetic", None, 0.0, 1).pressure_mmHg) == 30_001
    whole = synthesise(SyntheticPressure(), 1e-3, 9.0, 3)
    part = pressure_of(1e-3, "synthetic", 5.0, 4.0, 3)
    np.testing.assert_array_equal(part.pressure_mmHg, whole.pressure_mmHg[4000:])
    assert len(part.usable) == len(part.pressure_mmHg) == 5001


def test_a_recorded_pressure(tmp_path):
    time = np.arange(1000) / 100.0
    rows = "\n".join(f"{t:.2f},{90 + 20 * np.sin(7 * t):.3f}" for t in time)
    (tmp_path / "a.csv").write_text(f"time_s,pressure_mmHg\n{rows}\n")
    found = pressure_of(1e-3, str(tmp_path / "a.csv"), 3.0, 2.0, 1)
    assert len(found.pressure_mmHg) == 3001
    np.testing.assert_allclose(found.pressure_mmHg, 90 + 20 * np.sin(7 * (2 + 1e-3 * np.arange(3001))), atol=0.05)


def test_without_a_record_it_is_the_pig_or_synthetic(monkeypatch):
    monkeypatch.setattr("experiments.front.inputs.pig_available", lambda: False)
    assert pressure_of(1e-3, None, 2.0, 0.0, 1).name == "synthetic"
    if find_spec("aeon") is not None:
        monkeypatch.undo()
        assert pressure_of(1e-3, None, 2.0, 0.0, 1).name == "pig"


def test_more_ticks_than_a_run_holds(tmp_path, monkeypatch):
    """Refused before anything is made of that size, for synthetic pressure and for records."""
    with pytest.raises(InputError, match=r"synthetic: 8\.64e\+07 ticks .* take less with --seconds"):
        pressure_of(1e-3, "synthetic", 86_400.0, 0.0, 1)
    time = np.arange(300) / 100.0
    (tmp_path / "a.csv").write_text("time_s,pressure_mmHg\n" + "".join(f"{t:.2f},90\n" for t in time))
    monkeypatch.setattr(inputs, "MOST_TICKS", 1000)
    with pytest.raises(InputError, match=r"a\.csv: 2990 ticks .*\(1000\)"):
        pressure_of(1e-3, str(tmp_path / "a.csv"), None, 0.0, 1)
    assert len(pressure_of(1e-3, str(tmp_path / "a.csv"), 1.0, 0.5, 1).pressure_mmHg) == 1001


def test_bounds_of_options():
    bounded("--at", 10.0, 10.0, 300.0, "mmHg")
    for value in (9.999, float("nan"), float("inf")):
        with pytest.raises(InputError, match=r"--at .* must be from 10 to 300 mmHg"):
            bounded("--at", value, 10.0, 300.0, "mmHg")


def test_one_engine():
    with pytest.raises(InputError, match="leave the option out"):
        engine_of(2, "tcp://127.0.0.1:1")
    assert engine_of(1, None).begin_here_s == float("inf")


def test_settings_of_python_and_of_the_command():
    assert settings_list({"tube.length_m": 0.3, "transducer.at_valve_end": True, "actuator.kind": "direct"}) == [
        "tube.length_m=0.3", "transducer.at_valve_end=true", 'actuator.kind="direct"']
    assert settings_list(["a.b=1"]) == ["a.b=1"] and settings_list(None) == []
    with pytest.raises(InputError, match="give a dict or a list"):
        settings_list("a.b=1")
    assert load_rig("wrist", {"actuator.kind": "direct"}).tables["actuator"]["kind"] == "direct"


def test_a_rig_can_be_loaded_again_from_what_it_was_given(tmp_path):
    (tmp_path / "mine.toml").write_text('base = "cabinet"\n')
    for rig in ("wrist", tmp_path / "mine.toml", load_rig("wrist", ["controller.kp=0.007"])):
        again = rig_of(given_of(rig)[0]) if not isinstance(rig, Rig) else load_rig(rig.given[0], rig.given[1:])
        assert parameters_of(again) == parameters_of(rig_of(rig))
    with pytest.raises(InputError, match="changed after it had been loaded"):
        given_of(load_rig("wrist")._replace(given=()))


def test_work_in_one_place(tmp_path):
    assert Work().engine().begin_here_s == float("inf") and Work(workers=2).engine().begin_here_s < 10.0
    assert Work().kept("wrist", "parts") is None
    assert Work(folder=tmp_path).kept("wrist", "parts") == tmp_path / "parts"
    with pytest.raises(InputError, match="leave the option out"):
        Work(workers=2, cluster="tcp://127.0.0.1:1").engine()


def test_a_study_that_is_there_with_a_rig_that_names_python(tmp_path):
    """Refused before anything of it is run, unless it is trusted."""
    (tmp_path / "mine.toml").write_text('[valve]\nkind = "mine.py:Mine"\n')
    (tmp_path / "mine.py").write_text("raise SystemExit('it ran')\n")
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / MANIFEST).write_text("{}")
    with pytest.raises(InputError, match="names a Python file to run"):
        Work(folder=tmp_path).kept(tmp_path / "mine.toml", "parts")
    assert Work(folder=tmp_path, trust=True).kept(tmp_path / "mine.toml", "parts") == tmp_path / "parts"


def test_a_trace_on_the_rigs_ticks(wrist):
    trace = read_record("synthetic", seconds=8, start_s=2, seed=5)
    np.testing.assert_array_equal(trace.pressure_mmHg, pressure_on(wrist, "synthetic", 8.0, 2.0, 5).pressure_mmHg)
    assert pressure_on(wrist, trace, None, 0.0, 1) is trace
    with pytest.raises(InputError, match="is cut already"):
        pressure_on(wrist, trace, 5.0, 0.0, 1)
    with pytest.raises(InputError, match=r"^period_s 1 must be from"):
        read_record("synthetic", period_s=1.0)


def test_examples():
    doctests_of("inputs")
