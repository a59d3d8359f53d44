"""The shape of the peak while tone changes."""
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.schedule.toned_shape import WIDENS, TonedShape
from calibrate.search.track import WIDTHS_mmHg
from calibrate.search.vertex import Shape
from plant.finger.artery import Artery, fast_share, half_width, largest_area

SEEN = Shape(15.0, 0.05, 0.5, 0.05)


def after(slopes: list[float], toned: TonedShape | None = None) -> TonedShape:
    toned = toned or TonedShape(Shape(10.0)).found(SEEN, slopes[0])
    for slope in slopes:
        toned = toned.see(slope)
    return toned


def test_a_slope_that_stays_keeps_the_shape() -> None:
    assert after([1e-3] * 100).shape == SEEN


def test_a_slope_that_falls_widens_it_and_nothing_else() -> None:
    shape = after([1e-3] * 40 + [1e-4] * 200).shape
    assert shape.width_mmHg == pytest.approx(15.0 * 10.0**WIDENS, rel=1e-3)
    assert shape._replace(width_mmHg=15.0) == SEEN


def test_by_the_model_of_tone_the_width_goes_at_half_that_power() -> None:
    """The power said in the module's first lines, by the artery's own functions."""
    def width_and_slope(tone: float) -> tuple[float, float]:
        artery, width = Artery(), float(half_width(Artery(), tone))
        return width, float(fast_share(artery, tone) * largest_area(artery, tone)) / width

    (narrow, steep), (wide, flat) = width_and_slope(0.0), width_and_slope(1.5)
    assert math.log(wide / narrow) / math.log(steep / flat) == pytest.approx(0.5 * WIDENS, abs=0.03)


def test_waves_do_not_widen_it_by_where_the_search_has_ended() -> None:
    """The search has ended where the slope was three times the mean; some waves later nothing of it is left."""
    waves = [1e-3 * math.exp(1.1 * math.cos(0.25 * math.pi * k)) for k in range(160)]
    widths = [after(waves[: 8 * n]).shape.width_mmHg for n in range(3, 20)]
    assert max(widths) < 1.2 * 15.0


def test_a_search_in_the_cold_does_not_undo_it_and_one_in_the_warm_counts() -> None:
    cold = after([1e-3] * 40 + [1e-4] * 200).found(Shape(11.0), 1e-4)
    assert after([1e-4] * 3, cold).shape.width_mmHg == pytest.approx(15.0 * 10.0**WIDENS, rel=1e-3)
    assert cold.found(Shape(11.0), 2e-3).shape == Shape(11.0)


@given(slopes=st.lists(st.floats(1e-6, 1e-1), min_size=1, max_size=60), width=st.floats(3.0, 100.0))
def test_it_is_never_narrower_than_seen_nor_wider_than_any(slopes: list[float], width: float) -> None:
    toned = TonedShape(Shape(10.0)).found(SEEN._replace(width_mmHg=width), slopes[0])
    assert width <= after(slopes, toned).shape.width_mmHg <= max(width, WIDTHS_mmHg[1])
    assert after(slopes, toned).looks == len(slopes)
