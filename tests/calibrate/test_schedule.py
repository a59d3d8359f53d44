"""What all schedules share: the diary's clock, beats in a reading, repeated searches."""
from typing import NamedTuple

import numpy as np
import pytest

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument, Plan, Seen, Vent
from calibrate.schedule import PATIENCE, Diary, beats_in, find, quiet_clamp, timed

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)
NOTHING = Seen(np.zeros(10), np.zeros(10), np.zeros(10), np.zeros(10))


@pytest.mark.parametrize("rate", [45.0, 75.0, 140.0])
def test_beats_are_counted(rate: float) -> None:
    phase = (np.arange(8000) * 0.001 * rate / 60.0) % 1.0
    pulse = np.where(phase < 0.15, np.sin(np.pi * phase / 0.3) ** 2, np.cos(np.pi * (phase - 0.15) / 1.7) ** 2)
    beats = beats_in(70.0 + 50.0 * pulse, 0.001)
    assert beats is not None
    assert beats.period_s == pytest.approx(60.0 / rate, rel=0.03)
    assert beats.number == pytest.approx(8.0 * rate / 60.0, rel=0.03)
    assert beats.systolic_mmHg == pytest.approx(120.0, abs=2.0) and beats.diastolic_mmHg == pytest.approx(70.0, abs=3.0)


def test_a_flat_reading_has_no_beats() -> None:
    assert beats_in(np.full(5000, 90.0), 0.001) is None


def test_the_clock_counts_whole_strides() -> None:
    diary = Diary()
    step = timed(Vent(0.07), INSTRUMENT, diary)
    next(step)
    with pytest.raises(StopIteration):
        step.send(NOTHING)
    assert diary.time_s == pytest.approx(0.05)


class Failing(NamedTuple):
    """A search that always fails."""

    def search(self, instrument: Instrument) -> Plan:
        yield Hold(40.0, 1.0)
        return Failed("no pulse", "never")


def test_a_search_that_fails_is_repeated_with_the_cuff_vented() -> None:
    diary, asked = Diary(), []
    plan = find(INSTRUMENT, Failing(), diary, "start")
    request = next(plan)
    with pytest.raises(StopIteration) as end:
        while True:
            asked.append(request)
            request = plan.send(NOTHING)
    assert isinstance(end.value.value, Failed)
    assert [e.what for e in diary.entries] == ["failed"] * PATIENCE
    assert sum(isinstance(r, Hold) and r.pressure_mmHg == 40.0 for r in asked) == PATIENCE
    assert any(isinstance(r, Vent) for r in asked)


def test_a_quiet_clamp_adds_nothing() -> None:
    assert quiet_clamp(Found(0.5, 0.003, 90.0, 1.0), 5.0) == Clamp(0.5, 0.003, 5.0, 0.0, 0.0, True)
