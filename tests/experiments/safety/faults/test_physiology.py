"""Physiology: it has the shape it should have, and trips nothing."""

import numpy as np
import pytest

from experiments.safety.faults.physiology import PHYSIOLOGIES
from plant.units import hydrostatic_mmHg
from tests.experiments.safety.faults.fault_bench import bench

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
