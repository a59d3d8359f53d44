import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.circulation.ejection import beat_flow_mL_s, ejection_s


@given(st.floats(40, 180), st.floats(20, 120), st.floats(0.2, 0.45))
def test_a_beat_ejects_its_stroke_volume_exactly(rate, stroke, peak):
    time = np.arange(0.0, 60.0 / rate, 0.005)
    flow = beat_flow_mL_s(time, ejection_s(rate, stroke), peak, stroke)
    assert np.sum(flow) * 0.005 == pytest.approx(stroke, rel=1e-12)
    assert np.max(flow) > 3 * abs(np.min(flow))


def test_flow_peaks_where_it_is_told_to_and_reverses_when_the_valve_closes() -> None:
    time = np.arange(0.0, 0.8, 0.001)
    flow = beat_flow_mL_s(time, 0.28, 0.3, 70.0)
    assert time[np.argmax(flow)] == pytest.approx(0.3 * 0.28, abs=0.001)
    assert 0.28 < time[np.argmin(flow)] < 0.31 and np.max(np.abs(flow[time > 0.32])) < 1e-9


def test_ejection_time_goes_by_rate_and_volume() -> None:
    assert ejection_s(70.0, 70.0) == pytest.approx(0.2443 - 0.0647 + 0.0758, abs=1e-3)
    assert ejection_s(200.0, 10.0) == pytest.approx(0.12)
    assert ejection_s(190.0, 200.0) <= 0.62 * 60 / 190
