"""Physiology: it has the shape it should have, and trips nothing."""

import numpy as np
import pytest

from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.physiology import PHYSIOLOGIES, USE
from plant.units import hydrostatic_mmHg
from tests.experiments.safety.faults.fault_bench import bench
from tests.experiments.safety.faults.test_hardware import bare

BY_NAME = {f.name: f for f in PHYSIOLOGIES}


def changed(name, after_s=20.0):
    """Arterial pressure before and with it, from the onset on."""
    here = bench(after_s=after_s)
    case = here.case(here.onset_tick)
    after = BY_NAME[name].inject(case, 1.0)
    return case.inputs.arterial_mmHg[case.onset_tick :], after.inputs.arterial_mmHg[case.onset_tick :]


@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
@pytest.mark.parametrize("name", BY_NAME)
def test_nothing_of_it_trips_a_protection(rig, name):
    outcome, _ = bench(rig, after_s=20.0).run(BY_NAME[name])
    assert outcome.caught_by == "" and outcome.figures["detected_s"] < 0.0
    assert outcome.figures["wrong_longest_s"] < 20.0


@pytest.mark.parametrize("name", BY_NAME)
def test_nothing_happens_before_the_onset(name):
    here = bench(after_s=20.0)
    case = here.case(here.onset_tick)
    after = BY_NAME[name].inject(case, 1.0)
    early = slice(0, case.onset_tick)
    for one, two in zip(case.inputs, after.inputs, strict=True):
        assert np.allclose(one[early], two[early], atol=1e-9)


def test_heights_are_hydrostatic():
    """ρ g h of 40 cm is 31 mmHg (Raamat et al. 2009: −31.0 calculated) [seen]; less where little is left."""
    before, after = changed("hand_lowered")
    assert (after - before)[-1] == pytest.approx(hydrostatic_mmHg(0.4)) and 30.0 < hydrostatic_mmHg(0.4) < 32.0
    before, after = changed("hand_raised")
    assert -31.5 < (after - before)[-1] <= 0.0 and np.mean(after[-5000:]) > 50.0


def test_valsalva_has_its_phases():
    """Up, down, partly up, dip at release, overshoot: signs + − + − + (Denq, O'Brien & Low 1998) [seen]."""
    before, after = changed("valsalva", 36.0)
    mean = [np.mean((after - before)[int(a * 1000) : int(b * 1000)])
            for a, b in ((1, 3), (8.5, 9.5), (14, 14.9), (15.8, 16.5), (21, 23))]
    assert mean[0] > 5 and mean[1] < -5 and mean[2] > mean[1] + 3 and mean[3] < mean[2] - 10 and mean[4] > 8


def test_the_others():
    for name, share in (("hypotension", -0.33), ("hypertension", 0.25)):
        before, after = changed(name)
        assert after[-1] / before[-1] - 1.0 == pytest.approx(share)
    before, after = changed("cough")
    assert np.max(after - before) == pytest.approx(60.0, abs=0.1) and abs((after - before)[-1]) < 1e-9
    before, after = changed("arrhythmia")
    assert np.std(after - before) > 3.0


def cases(name, severity=1.0, after_s=30.0):
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
    case, found = cases("arm_cuff_same_side")
    before, after = (c.inputs.arterial_mmHg[case.onset_tick :] for c in (case, found))
    assert np.ptp(after[10_000:11_000]) < 5.0 < 20.0 < np.ptp(before[10_000:11_000])
    assert np.mean(after[18_000:19_000]) == pytest.approx(31.0, abs=4.0)
    assert np.allclose(after[22_000:], before[22_000:]) and np.min(found.inputs.tone - case.inputs.tone) < -0.5
    early = slice(0, case.onset_tick)
    assert np.array_equal(found.inputs.arterial_mmHg[early], case.inputs.arterial_mmHg[early])
    _, half = cases("arm_cuff_same_side", 0.5)
    assert np.ptp(half.inputs.arterial_mmHg[case.onset_tick + 10_000 :][:1000]) > 8.0


def test_vessels_shut_within_five_seconds():
    case, found = cases("vasospasm")
    change = (found.inputs.tone - case.inputs.tone)[case.onset_tick :]
    assert change[0] == 0.0 and change[5000] == pytest.approx(2.0) and 0.5 < change[2500] < 1.5
