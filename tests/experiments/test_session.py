"""A session runs requests as one run, and tells when its time or its bounds are over."""
import numpy as np
import pytest

from calibrate.protocol import Clamp, Hold, Instrument, Vent
from controller.firmware import CLAMP, FILL, VENT
from experiments.coupled import Inputs
from experiments.rig import Rig, load_rig
from experiments.session import COLUMN, OutOfTime, Session, orders_of

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)


def session(rig: Rig) -> Session:
    return Session(rig, Inputs(np.full(1001, 90.0), np.zeros(1001), np.full(1001, 0.02)), 1, 5)


def test_blocks_go_on_as_one_run() -> None:
    rig = load_rig("wrist")
    whole, parts = session(rig), session(rig)
    whole.ask(Hold(60.0, 0.8), INSTRUMENT)
    for _ in range(4):
        parts.ask(Hold(60.0, 0.2), INSTRUMENT)
    assert np.array_equal(np.concatenate(whole.blocks), np.concatenate(parts.blocks))


def test_what_is_seen_is_light_and_reading_alone() -> None:
    one = session(load_rig("wrist"))
    seen = one.ask(Hold(60.0, 0.5), INSTRUMENT)
    assert np.array_equal(seen.light, one.blocks[0][:, COLUMN["light"]])
    assert seen.reading_mmHg[-1] == pytest.approx(60.0, abs=3.0)


def test_time_is_over_before_it_is_overrun() -> None:
    one = session(load_rig("wrist"))
    with pytest.raises(OutOfTime):
        one.ask(Vent(1.5), INSTRUMENT)
    assert one.state.tick == 0


def test_orders_of_each_request() -> None:
    assert set(orders_of(Hold(50.0, 1.0), 100, INSTRUMENT).mode) == {FILL}
    assert set(orders_of(Vent(1.0), 100, INSTRUMENT).mode) == {VENT}
    orders = orders_of(Clamp(0.5, 0.003, 0.1, 2.0, 1.0), 100, INSTRUMENT)
    assert set(orders.mode) == {CLAMP}
    assert np.mean(orders.set_point) == pytest.approx(0.5 + 0.003 * 2.0, abs=0.003 * 0.2)
    assert np.ptp(orders.set_point) == pytest.approx(0.003 * 2.0, rel=0.02)
