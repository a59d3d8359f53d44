import numpy as np
import pytest

from experiments.readings.arm.tube import tube_beat, tube_ratio, tube_to_arm, usual_state
from experiments.readings.people.judged import errors
from experiments.readings.people.wearer import Wearer
from plant.circulation.network import responses
from plant.circulation.person import beds_of, scale_of
from tests.experiments.readings.steady_cases import some_cases

FREQUENCY_Hz = np.arange(1.0, 9.0)


@pytest.mark.parametrize("wearer", [Wearer(25.0, 0.0, 177.0, 75.0), Wearer(50.0, 1.0, 164.0, 65.0),
                                    Wearer(75.0, 0.0, 177.0, 75.0)])
def test_a_tube_comes_close_to_the_network(wearer) -> None:
    person, state = usual_state(wearer, 92.0)
    scale = scale_of(person, state)
    found = responses(scale, beds_of(scale, state), FREQUENCY_Hz)
    ratio = tube_ratio(wearer, 92.0, FREQUENCY_Hz) / (found.arm / found.finger)
    assert np.abs(np.abs(ratio) - 1.0) == pytest.approx(0.0, abs=0.15)
    assert np.degrees(np.angle(ratio)) == pytest.approx(0.0, abs=8.0)


def test_the_arm_leads_and_at_rest_the_flow_costs_a_little() -> None:
    ratio = tube_ratio(Wearer(), 92.0, np.array([0.0, 0.5, 4.0]))
    assert 1.0 < ratio[0].real < 1.08 and ratio[0].imag == 0.0
    assert 0.0 < np.angle(ratio[1]) < np.angle(ratio[2])


def test_a_beat_for_ever_and_the_filter_agree() -> None:
    one = some_cases()[0]
    count = round(one.interval_s / 4e-3)
    wave = np.interp(np.arange(20 * count) / count % 1.0, np.arange(512) / 512.0, one.finger_mmHg, period=1.0)
    beat = tube_beat(one.wearer, one.finger_mmHg, count * 4e-3)
    filtered = tube_to_arm(one.wearer, wave, 4e-3)[8 * count : 9 * count]
    assert filtered == pytest.approx(np.interp(np.arange(count) / count, np.arange(512) / 512.0, beat, period=1.0),
                                     abs=0.6)


def test_it_is_worse_than_the_law_and_better_than_nothing() -> None:
    cases = some_cases()
    found = [tube_beat(one.wearer, one.finger_mmHg, one.interval_s) for one in cases]
    tops = np.array([np.max(w) - np.max(one.arm_mmHg) for w, one in zip(found, cases, strict=True)])
    shape = np.array([np.std(w - one.arm_mmHg) for w, one in zip(found, cases, strict=True)])
    raw = np.array([np.std(one.finger_mmHg - one.arm_mmHg) for one in cases])
    assert abs(errors(tops).mean) < 6.0 and errors(tops).sd < 6.0
    assert np.sqrt(np.mean(shape**2)) < 0.5 * np.sqrt(np.mean(raw**2))
