"""What functions of the Python interface take."""
from importlib.util import find_spec

import numpy as np
import pytest

from experiments.front import inputs
from experiments.front.inputs import bounded, engine_of, pressure_of
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise


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
