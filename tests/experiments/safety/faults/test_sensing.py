"""Failures of sensing do to samples what they are said to do."""

import numpy as np
import pytest

from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.sensing import SENSING
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
