"""A session runs requests as one run, and tells when its time or its bounds are over."""
import numpy as np
import pytest

from calibrate.protocol import Clamp, Found, Hold, Instrument, Plan, Request, Seen, Vent
from controller.tick.firmware import CLAMP, FILL, VENT
from experiments.rigs.rig import Rig, clamp, load_rig
from experiments.simulation.session import COLUMN, Diverged, OutOfTime, Session, orders_of
from plant.assembly import Inputs

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j)


def session(rig: Rig, seed: int = 1, ticks: int = 2000) -> Session:
    arterial = 90.0 + 15.0 * np.sin(2.0 * np.pi * 1.2 * np.arange(ticks + 1) * 0.001)
    return Session(rig, Inputs(arterial, np.zeros(ticks + 1), np.full(ticks + 1, 0.02)), seed, 5)


def requests(rig: Rig, cut: int) -> list[Request]:
    """Hold, clamp and vent, each in so many equal pieces."""
    point = clamp(rig, 90.0, 0.0)
    slope = abs(point.light_slope)
    pieces: list[Request] = []
    for whole in (Hold(80.0, 0.4), Clamp(point.light, slope, 0.8, 1.0), Vent(0.4)):
        pieces += [whole._replace(seconds=whole.seconds / cut)] * cut
    return pieces


@pytest.mark.parametrize("cut", [2, 4, 8])
def test_blocks_go_on_as_one_run(wrist: Rig, cut: int) -> None:
    """The same bits in every channel, whatever pieces a request is cut into: hold, clamp and vent."""
    whole, parts = session(wrist), session(wrist)
    for one, k in ((whole, 1), (parts, cut)):
        for request in requests(wrist, k):
            one.ask(request, INSTRUMENT)
    assert len(parts.blocks) == cut * len(whole.blocks)
    assert np.array_equal(np.concatenate(whole.blocks), np.concatenate(parts.blocks))
    assert whole.state.plant == parts.state.plant and whole.state.tick == parts.state.tick


def test_only_the_last_request_is_kept_where_asked(wrist: Rig) -> None:
    """The same bits, one block, and what was seen before stays what it was."""
    every, last = session(wrist), session(wrist)
    last.keep = False
    before: list[Seen] = []
    for request in requests(wrist, 2):
        seen, again = every.ask(request, INSTRUMENT), last.ask(request, INSTRUMENT)
        assert len(last.blocks) == 1 and np.array_equal(last.blocks[0], every.blocks[-1])
        assert all(np.array_equal(a, b) for a, b in zip(seen, again, strict=True))
        before.append(again)
    for block, seen in zip(every.blocks, before, strict=True):
        assert np.array_equal(block[:, COLUMN["light"]], seen.light)


def test_the_same_seed_gives_the_same_bits_and_another_does_not(wrist: Rig) -> None:
    runs = []
    for seed in (1, 1, 2):
        one = session(wrist, seed)
        one.ask(Hold(60.0, 0.5), INSTRUMENT)
        runs.append(one.blocks[0])
    assert np.array_equal(runs[0], runs[1])
    assert not np.array_equal(runs[0][:, COLUMN["light"]], runs[2][:, COLUMN["light"]])


def test_what_is_seen_is_what_the_firmware_has(wrist: Rig) -> None:
    one = session(wrist)
    seen = one.ask(Hold(60.0, 0.5), INSTRUMENT)
    for name, given in seen._asdict().items():
        assert np.array_equal(given, one.blocks[0][:, COLUMN[name]])
    assert seen.reading_mmHg[-1] == pytest.approx(60.0, abs=3.0)
    assert seen._fields == ("light", "reading_mmHg", "command", "limited")  # neither volume nor arterial pressure


def test_requests_do_what_they_say(wrist: Rig) -> None:
    one = session(wrist, ticks=6000)
    hold, held, vent = requests(wrist, 1)
    assert np.mean(one.ask(hold, INSTRUMENT).reading_mmHg[-50:]) == pytest.approx(80.0, abs=3.0)
    assert isinstance(held, Clamp)
    light = one.ask(held._replace(sweep_mmHg=0.0, seconds=4.0), INSTRUMENT).light
    assert np.mean(light[-1000:]) == pytest.approx(held.set_point, abs=1.0 * held.light_slope)
    assert one.ask(vent, INSTRUMENT).reading_mmHg[-1] < 5.0


@pytest.mark.parametrize("seconds", [2.05, 50.0])
def test_time_is_over_before_it_is_overrun(wrist: Rig, seconds: float) -> None:
    """Nothing has happened then, and a request that fits still runs."""
    one = session(wrist)
    with pytest.raises(OutOfTime) as end:
        one.ask(Vent(seconds), INSTRUMENT)
    assert not isinstance(end.value, Diverged)
    assert one.state.tick == 0 and one.blocks == []
    one.ask(Vent(2.0), INSTRUMENT)
    assert one.state.tick == 2000
    with pytest.raises(OutOfTime):
        one.ask(Vent(0.05), INSTRUMENT)
    with pytest.raises(OutOfTime):
        session(wrist, ticks=1999).ask(Vent(2.0), INSTRUMENT)  # one tick short


def test_a_run_that_diverges_ends_and_keeps_what_it_was() -> None:
    """The cabinet's tube is too quick for one integration step a tick."""
    rig = load_rig("cabinet")
    one = Session(rig, Inputs(np.full(2001, 90.0), np.zeros(2001), np.zeros(2001)), 1, 1)
    with pytest.raises(Diverged):
        one.ask(Hold(150.0, 1.0), INSTRUMENT)
    assert one.diverged and 0 < len(one.blocks[0]) < 1000


def test_a_plan_is_followed_to_its_outcome(wrist: Rig) -> None:
    asked: list[Seen] = []

    def plan() -> Plan:
        asked.append((yield Hold(60.0, 0.3)))
        asked.append((yield Vent(0.2)))
        return Found(0.5, 0.003, 60.0, 1.0)

    one = session(wrist)
    assert one.follow(plan(), INSTRUMENT) == Found(0.5, 0.003, 60.0, 1.0)
    assert [len(s.light) for s in asked] == [300, 200] and one.state.tick == 500


def test_orders_of_each_request() -> None:
    hold, vent = orders_of(Hold(50.0, 1.0), 100, INSTRUMENT), orders_of(Vent(1.0), 100, INSTRUMENT)
    assert set(hold.mode) == {FILL} and set(hold.fill_mmHg) == {50.0}
    assert set(vent.mode) == {VENT} and set(vent.fill_mmHg) == {0.0}
    still = orders_of(Clamp(0.5, 0.003, 0.1), 100, INSTRUMENT)
    assert set(still.mode) == {CLAMP} and set(still.set_point) == {0.5} and set(still.light_slope) == {0.003}


def test_sweep_and_tone_move_the_set_point_by_mmHg() -> None:
    """The tone starts at zero, so that blocks join without a jump; a sweep may be a number or tick by tick."""
    time = np.arange(500) * 0.001
    tone = 2.0 * np.sin(2.0 * np.pi * INSTRUMENT.probe_Hz * time)
    for sweep in (1.5, 3.0 * np.sin(2.0 * np.pi * 2.0 * time)):
        orders = orders_of(Clamp(0.5, 0.003, 0.5, sweep, 2.0), 500, INSTRUMENT)
        assert (orders.set_point - 0.5) / 0.003 == pytest.approx(sweep + tone, abs=1e-9)
        orders = orders_of(Clamp(0.5, 0.003, 0.5, sweep, 2.0, course_mmHg=4.0 * time), 500, INSTRUMENT)
        assert (orders.set_point - 0.5) / 0.003 == pytest.approx(sweep + 4.0 * time + tone, abs=1e-9)
    assert tone[0] == 0.0
