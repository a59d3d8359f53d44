"""The schedule that confirms: nothing lost on a good set point, looks on one that is off, a search where they fail."""
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest

from calibrate.protocol import Clamp, Found, Hold, Instrument
from calibrate.schedule.confirmed import ConfirmedSetPoint
from calibrate.schedule.schedule import Diary


class Told(NamedTuple):
    """A search that ends at once, with what it was given."""

    found: Found

    def search(self, instrument: Instrument) -> Any:
        yield Hold(90.0, 2.0)
        return self.found


def found(finger: Any, off_mmHg: float) -> Found:
    light = finger.set_point * float(pow(2.718281828, -off_mmHg * finger.relative_slope))
    return Found(light, finger.relative_slope * light, 90.0, 1.0, finger.width_mmHg)


def test_a_good_set_point_is_shown_throughout(drive: Callable[..., Any], finger: Any, instrument: Instrument) -> None:
    own, diary = finger._replace(noise=2e-5), Diary()
    ran = drive(ConfirmedSetPoint(20.0).program(instrument, Told(found(own, 0.0)), diary), own, instrument, 200.0)
    assert [e.what for e in diary.entries] == ["search"]
    clamps = [r for r in ran.asked if isinstance(r, Clamp)]
    assert all(c.shown for c in clamps)
    probing = sum(c.seconds for c in clamps if c.tone_mmHg > 0.0)
    assert probing / ran.seconds == pytest.approx(10.0 / 30.0, abs=0.05)
    assert diary.time_s == pytest.approx(ran.seconds)


@pytest.mark.parametrize("off_mmHg", [-12.0, 12.0])
def test_a_set_point_that_is_off_is_mended_in_the_clamp(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, off_mmHg: float
) -> None:
    own, diary = finger._replace(noise=2e-5), Diary()
    ran = drive(ConfirmedSetPoint(20.0).program(instrument, Told(found(own, off_mmHg)), diary), own, instrument, 150.0)
    assert [e.what for e in diary.entries][:2] == ["search", "recalibration"]
    assert "mmHg away" in diary.entries[1].why and len(ran.holds) == 1
    last = [r for r in ran.asked if isinstance(r, Clamp)][-1]
    assert abs(own.error_mmHg(last.set_point)) < 2.5


def test_looks_that_do_not_help_end_in_a_search(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    """A light that does not answer: confirmation and looks say so, and the search is asked again."""
    own, diary = finger._replace(loop_error=0.1), Diary()
    drive(ConfirmedSetPoint(20.0).program(instrument, Told(found(own, 0.0)), diary), own, instrument, 120.0)
    searches = [e for e in diary.entries if e.what == "search"]
    assert len(searches) >= 2 and "does not answer" in searches[1].why
