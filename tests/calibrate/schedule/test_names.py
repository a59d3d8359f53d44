"""Schedules and scenarios by name; a user's own is loaded, made and checked, or refused in one line."""
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.schedule.confirmed import ConfirmedSetPoint
from calibrate.schedule.names import SCHEDULES, find_scenarios, find_schedules
from calibrate.schedule.recalibration import ShortStaircase, WideLooks
from calibrate.schedule.schedules import ByClock, EveryBeats, GrowingBeats, OnSigns
from plant.declare import cache_directory
from plant.errors import InputError
from plant.scenarios.scenario import SCENARIOS

OWN = '''
from typing import Annotated, NamedTuple

from calibrate.protocol import Vent
from calibrate.schedule.schedule import timed
from plant.declare import quantity


class Airing(NamedTuple):
    """Does nothing but vent."""

    piece_s: Annotated[float, quantity("s", 0.1, 10, "piece", "invented")] = {piece}

    def {method}(self, instrument, search, diary):
        while True:
            yield from timed(Vent(self.piece_s), instrument, diary)


class Needy(NamedTuple):
    """Cannot be made without being told."""

    piece_s: Annotated[float, quantity("s", 0.1, 10, "piece", "invented")]

    def program(self, instrument, search, diary):
        yield Vent(self.piece_s)
'''


@pytest.fixture
def own(tmp_path):
    def write(piece=1.0, method="program"):
        (tmp_path / "mine.py").write_text(OWN.format(piece=piece, method=method), encoding="utf-8")
        return tmp_path

    return write


def test_all_the_built_in_ones(tmp_path):
    every = find_schedules("all", tmp_path)
    assert [named.name for named in every] == [
        "never", "every", "growing", "clock", "signs", "confirmed", "steady"]
    assert all(SCHEDULES[named.name] is named for named in every)


def test_what_is_said_about_them_are_their_own_numbers():
    assert f"{EveryBeats().beats} beats" in SCHEDULES["every"].about
    assert all(str(n) in SCHEDULES["growing"].about for n in (GrowingBeats().shortest, GrowingBeats().longest))
    assert f"{ByClock().every_s:g} s" in SCHEDULES["clock"].about


def test_some_in_the_order_given(tmp_path):
    assert [s.name for s in find_schedules("steady, never", tmp_path)] == ["steady", "never"]


def test_numbers_and_a_look_are_choices_of_their_own(tmp_path):
    names = "every:20,growing:12:96+wide,clock:90.5+stairs,signs+stairs,confirmed:30"
    every, growing, clock, signs, confirmed = (named.schedule for named in find_schedules(names, tmp_path))
    assert [named.name for named in find_schedules(names, tmp_path)] == names.split(",")
    assert every == EveryBeats(20) and growing == GrowingBeats(12, 96, short=WideLooks())
    assert clock == ByClock(90.5, ShortStaircase()) and signs == OnSigns(short=ShortStaircase())
    assert confirmed == ConfirmedSetPoint(30.0)
    assert "20 beats" in find_schedules("every:20", tmp_path)[0].about
    assert "by wide" in find_schedules("growing+wide", tmp_path)[0].about


@settings(max_examples=30, deadline=None)
@given(st.integers(3, 1000), st.integers(3, 100_000), st.sampled_from(["", "+wide", "+stairs"]))
def test_what_a_name_says_is_what_runs(first, last, look):
    """Whatever the numbers: they are the schedule's, or it is refused because the last is below the first."""
    text = f"growing:{first}:{last}{look}"
    if last < first:
        with pytest.raises(InputError, match="at least the shortest"):
            find_schedules(text, Path())
    else:
        made = find_schedules(text, Path())[0].schedule
        assert (made.shortest, made.longest) == (first, last)
        assert isinstance(made.short, WideLooks if look == "+wide" else ShortStaircase)


def test_one_of_ones_own_beside_them(own):
    named = find_schedules("never,mine.py:Airing", own())
    assert [s.name for s in named] == ["never", "Airing"]
    assert named[1].schedule._asdict() == {"piece_s": 1.0} and named[1].about == "your own"


def test_it_leaves_the_compiled_code_alone(own):
    """A schedule is no part of the kernel: twenty seconds of compiling for each edit of it would be for nothing."""
    before = cache_directory()
    find_schedules("mine.py:Airing", own())
    assert cache_directory() == before


@pytest.mark.parametrize(("text", "piece", "method", "words"), [
    ("sometimes", 1.0, "program", "'sometimes': use some of never, every"),
    ("never,,steady", 1.0, "program", "write names with commas"),
    ("", 1.0, "program", "write names with commas"),
    ("every:2", 1.0, "program", "beats = 2 1 is outside"),
    ("every:x", 1.0, "program", "'x' is not a whole number"),
    ("clock:", 1.0, "program", "'' is not a number"),
    ("growing:12", 1.0, "program", "write growing:BEATS-AT-FIRST:BEATS-AT-MOST"),
    ("growing:96:12", 1.0, "program", "at least the shortest"),
    ("never:3", 1.0, "program", "never takes no numbers"),
    ("steady+wide", 1.0, "program", "steady has one look only"),
    ("every+far", 1.0, "program", "use +stairs or +wide"),
    ("every:20,every:20", 1.0, "program", "is given twice"),
    ("never,never", 1.0, "program", "'never' is given twice"),
    ("yours.py:Airing", 1.0, "program", "is not a file"),
    ("mine.py:Nobody", 1.0, "program", "no NamedTuple class 'Nobody'"),
    ("mine.py:Airing", 1.0, "search", "no method program"),
    ("mine.py:Airing", 100.0, "program", "piece_s = 100 s is outside"),
    ("mine.py:Needy", 1.0, "program", "cannot be made without arguments"),
])
def test_what_cannot_be_used_is_one_line(own, text, piece, method, words):
    with pytest.raises(InputError) as end:
        find_schedules(text, own(piece, method))
    assert words in str(end.value) and "\n" not in str(end.value)


def test_scenarios():
    assert find_scenarios("all") == tuple(SCENARIOS)
    assert find_scenarios("pain, cold") == ("pain", "cold")
    for text, words in (("rain", "'rain' is not known"), ("cold,cold", "given twice"), ("cold,", "commas")):
        with pytest.raises(InputError, match=words):
            find_scenarios(text)
