"""Watchdog: fed, starved, latched."""
from hypothesis import given
from hypothesis import strategies as st

from plant.electronics.watchdog import Watchdog, fed_watchdog, watchdog_step


def ran(feeds, part=Watchdog(timeout_s=0.02), powered=True):  # noqa: B008
    state = fed_watchdog()
    for fed in feeds:
        state = watchdog_step(part, state, fed, powered, 0.001)
    return state


@given(st.lists(st.booleans(), max_size=100))
def test_it_expires_when_it_was_once_starved_for_longer_than_its_time(feeds):
    longest = max((len(run) for run in "".join("1" if f else "0" for f in feeds).split("1")), default=0)
    assert ran(feeds).expired == (longest > 20)


def test_without_a_latch_the_next_feed_sets_it_back():
    feeds = [False] * 30 + [True]
    assert ran(feeds).expired
    assert not ran(feeds, Watchdog(timeout_s=0.02, latched=False)).expired


def test_taken_away_or_without_power_it_never_expires():
    starved = [False] * 100
    assert not ran(starved, Watchdog(enabled=False)).expired
    assert not ran(starved, powered=False).expired


def test_at_its_time_it_has_not_expired_yet():
    """Ticks of 2⁻¹⁰ s add up exactly; once fed, all its time is there again."""
    part, tick = Watchdog(timeout_s=16 * 2.0**-10), 2.0**-10
    for start in (fed_watchdog(), watchdog_step(part, fed_watchdog()._replace(unfed_s=1e-2), True, True, tick),
                  watchdog_step(part, fed_watchdog()._replace(unfed_s=1.0), False, False, tick)):
        state = start
        for k in range(1, 18):
            state = watchdog_step(part, state, False, True, tick)
            assert state.expired == (k > 16)
