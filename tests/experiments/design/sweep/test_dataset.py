"""The Dataset of a sweep: labels, units, provenance, and the same after a NetCDF file."""
import json

import numpy as np
import pytest
import xarray

from experiments.design.sweep.dataset import study_dataset
from experiments.design.sweep.verdict import keeps, limits_of
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import load_rig

LIMITS = load_requirements(default_requirements("wrist"))


def dataset(found):
    return study_dataset(found, limits_of(found, LIMITS), {"provenance": {"seed": 1}, "nothing": float("nan")})


def test_labelled_axes_with_units(gains):
    data = dataset(gains)
    assert data["phase_margin_deg"].dims == ("controller.kp", "controller.td_s")
    assert data["controller.td_s"].attrs["units"] == "s" and data["phase_margin_deg"].attrs["units"] == "°"
    assert data["controller.kp"].attrs["present"] == load_rig("wrist").controller.kp
    kp, td = gains.points[17]
    at = data.sel({"controller.kp": kp, "controller.td_s": td})
    np.testing.assert_array_equal(float(at["phase_margin_deg"]), gains.worst("phase_margin_deg")[17])
    assert json.loads(data.attrs["about"])["provenance"]["seed"] == 1 and data.attrs["rig"] == "wrist"
    np.testing.assert_array_equal(data["keeps_limits"].values.ravel(), keeps(gains, limits_of(gains, LIMITS)))


def test_a_population_has_its_fingers(people):
    data = dataset(people)
    assert data["rms_error_mmHg"].dims == ("controller.kp", "finger")
    assert data["worst_rms_error_mmHg"].dims == ("controller.kp",)
    name = str(data["worst_finger"][1].values)
    at = data.isel({"controller.kp": 1}).sel(finger=name)
    assert float(at["signed_modulus_margin"]) == float(data["worst_signed_modulus_margin"][1])


@pytest.mark.parametrize("kind", ["grid", "sample", "people"])
def test_the_same_after_a_file(tmp_path, gains, people, make_sweep, kind):
    """Classic NetCDF, read back: values, words, names, units."""
    found = {"grid": lambda: make_sweep(["actuator.kind=direct,flow_inverse", "transducer.at_valve_end=true,false"]),
             "sample": lambda: make_sweep(["controller.kp=0.004:0.01", "actuator.kind=direct,flow_inverse"], sample=4),
             "people": lambda: people}[kind]()
    data = dataset(found)
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
    with xarray.open_dataset(tmp_path / "a.nc", engine="scipy") as back:
        for name in (*data.data_vars, *data.coords):
            theirs = back[name].values
            theirs = np.char.decode(theirs) if theirs.dtype.kind == "S" else theirs
            np.testing.assert_array_equal(theirs, data[name].values)
            assert back[name].attrs == data[name].attrs
        assert back.attrs == data.attrs
