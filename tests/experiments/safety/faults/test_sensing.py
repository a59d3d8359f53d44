"""Failures of sensing do to samples what they are said to do."""

import numpy as np
import pytest

from controller.protection.guards import PROTECTIONS
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.sensing import SENSING
from plant.units import hydrostatic_mmHg
from tests.experiments.safety.faults.fault_bench import bench
from tests.experiments.safety.faults.test_hardware import bare


def test_readings_are_off_by_what_they_say():
    """At the first ticks, before the instrument has done anything about it."""
    quiet = bare("quiet")["reading_mmHg"][:3]
    assert bare("transducer_offset")["reading_mmHg"][:3] - quiet == pytest.approx(30.0, abs=0.1)
    assert bare("transducer_gain")["reading_mmHg"][:3] / quiet == pytest.approx(0.7, rel=0.01)
    assert np.all(bare("transducer_open_high")["reading_mmHg"] == 400.0)
    assert np.all(bare("transducer_open_low")["reading_mmHg"] == -40.0)
    assert len(np.unique(bare("transducer_stuck")["reading_mmHg"])) == 1
    drifted = bare("transducer_drift")
    assert drifted["reading_mmHg"][-1] - drifted["cuff_mmHg"][-1] == pytest.approx(2.0 * 2.5, abs=1.0)


def test_light_goes_where_it_is_said_to_go():
    quiet = bare("quiet")["light"]
    assert bare("emitter_out")["light"][20] < 0.2 * quiet[0]
    assert bare("emitter_dim")["light"][3] < 0.9 * quiet[0]
    assert bare("ambient_step")["light"][5] > quiet[0] + 0.05
    assert np.all(bare("detector_saturated")["light"][5:] == 1.0)
    assert len(np.unique(bare("light_stale")["light"])) == 1


def test_swapped_channels_carry_each_others_values():
    found, quiet = bare("channels_swapped"), bare("quiet")
    assert found["light"][0] == pytest.approx(quiet["reading_mmHg"][0] / 400.0, rel=1e-6)
    assert found["reading_mmHg"][0] == pytest.approx(quiet["light"][0] * 400.0, rel=1e-6)


def test_a_motion_artefact_ends():
    here = bench(after_s=7.0)
    _, rows = here.run(CATALOGUE["motion_artefact"]._replace(duration_s=1.0), lost=("oscillation",), trace=True)
    assert len(rows) > 0 and len(SENSING) >= 20


def test_the_wrong_second_transducer_reads_low():
    found = bare("switch_transducer_offset")
    assert found["second_mmHg"][100] == pytest.approx(found["node_mmHg"][99] - 60.0, abs=5.0)


def test_a_blocked_port_shows_no_pulse():
    found = bare("transducer_port_blocked")
    assert np.std(found["reading_mmHg"][-1000:]) < 0.35 * np.std(found["cuff_mmHg"][-1000:])


def test_a_reference_that_drifts_is_in_every_channel():
    """0.4 % a second: both transducers agree, on the wrong value."""
    found = bare("reference_voltage_drift")
    for name, true in (("reading_mmHg", "cuff_mmHg"), ("second_mmHg", "node_mmHg")):
        assert np.mean(found[name][-500:] / found[true][-500:]) == pytest.approx(1.0 + 0.004 * 2.25, abs=0.002)


def test_sealed_transducers_take_a_fall_of_ambient_pressure_for_a_rise():
    found = bare("ambient_pressure_falls")
    for name, true in (("reading_mmHg", "cuff_mmHg"), ("second_mmHg", "node_mmHg")):
        assert np.mean((found[name] - found[true])[-200:]) == pytest.approx(3.0 * 2.4, abs=0.7)


def test_a_wrong_height_is_shown_but_not_measured():
    found, quiet = bare("height_wrong"), bare("quiet")
    assert np.array_equal(found["reading_mmHg"], quiet["reading_mmHg"])
    assert found["shown_mmHg"] - quiet["shown_mmHg"] == pytest.approx(hydrostatic_mmHg(0.2))


def test_an_overdriven_emitter_burns_unless_somebody_lets_go():
    """33 °C in the dark, 2 K at nominal drive, 12 K at six times that: 43.9 °C after 36 s of a lag of 15 s."""
    here = bench(after_s=36.0)
    bare_run, _ = here.run(CATALOGUE["emitter_overdriven"], lost=PROTECTIONS)
    calm, _ = here.run(CATALOGUE["quiet"])
    kept, _ = here.run(CATALOGUE["emitter_overdriven"])
    assert bare_run.figures["skin_degC"] == pytest.approx(33.0 + 12.0 - 10.0 * np.exp(-36.0 / 15.0), abs=0.1)
    assert bare_run.figures["skin_degC"] > 43.0 > kept.figures["skin_degC"] > calm.figures["skin_degC"] > 34.9


def test_an_intermittent_contact_is_dark_for_moments():
    dark = bare("contact_intermittent")["light"] == 0.0
    assert np.sum(dark) == 60 and np.all(dark[:30]) and np.all(dark[1700:1730])
