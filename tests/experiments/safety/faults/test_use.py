"""What wearer and surroundings do to a clamp."""
import numpy as np
import pytest

from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.use import USE
from tests.experiments.safety.faults.fault_bench import bench
from tests.experiments.safety.faults.test_hardware import bare


def changed(name, severity=1.0, after_s=30.0):
    here = bench(after_s=after_s)
    case = here.case(here.onset_tick)
    found = CATALOGUE[name].inject(case, severity)
    return case, found


def test_motion_comes_again_and_shivering_stays():
    """The artefact of the first two seconds of six; 9 Hz without a pause."""
    assert len(USE) == 5
    moved, still = (bare(name)["light"] for name in ("motion_repeated", "quiet"))
    assert np.std(moved[:2000]) > 3.0 * np.std(still[:2000])
    shaken = np.abs(np.fft.rfft(bare("shivering")["light"] - np.mean(still)))
    low = np.fft.rfftfreq(len(still), 0.001)
    assert 8.0 < low[10 + np.argmax(shaken[10:])] < 28.0, "the tremor, or its second wave, is the largest fast part"


def test_noise_of_electrosurgery_comes_in_bursts():
    found = bare("electrosurgery")
    apart = np.abs(found["reading_mmHg"] - found["cuff_mmHg"])
    assert np.mean(apart[:1000]) > 10.0 and np.mean(apart[1100:2400]) < 2.0


def test_an_arm_cuff_takes_the_pulse_and_gives_it_back():
    case, found = changed("arm_cuff_same_side")
    before, after = (c.inputs.arterial_mmHg[case.onset_tick :] for c in (case, found))
    assert np.ptp(after[10_000:11_000]) < 5.0 < 20.0 < np.ptp(before[10_000:11_000])
    assert np.mean(after[18_000:19_000]) == pytest.approx(31.0, abs=4.0)
    assert np.allclose(after[22_000:], before[22_000:]) and np.min(found.inputs.tone - case.inputs.tone) < -0.5
    early = slice(0, case.onset_tick)
    assert np.array_equal(found.inputs.arterial_mmHg[early], case.inputs.arterial_mmHg[early])
    _, half = changed("arm_cuff_same_side", 0.5)
    assert np.ptp(half.inputs.arterial_mmHg[case.onset_tick + 10_000 :][:1000]) > 8.0


def test_vessels_shut_within_five_seconds():
    case, found = changed("vasospasm")
    change = (found.inputs.tone - case.inputs.tone)[case.onset_tick :]
    assert change[0] == 0.0 and change[5000] == pytest.approx(2.0) and 0.5 < change[2500] < 1.5
