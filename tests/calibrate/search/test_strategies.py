"""Searches by name and from a file: a complete one of one's own, and every way in which such a file can be wrong."""
import math
from pathlib import Path

import numpy as np
import pytest

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument, Seen, Vent
from calibrate.search import strategies
from calibrate.search.probing_search import ProbingSearch
from calibrate.search.strategies import (
    BUILT_IN,
    OwnSearch,
    load_strategies,
    load_strategy,
    outcome_fault,
    request_fault,
    source_digest,
    sweep_fault,
)
from plant.declare import cache_directory
from plant.errors import InputError
from tests.experiments.conftest import said

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.01, 35.0, 1.0 + 0.0j)

OWN = '''"""A parabola through the pulsations of equal steps: a search that needs nothing but NumPy."""
from typing import Annotated, NamedTuple

import numpy as np

from calibrate.protocol import Failed, Found, Hold
from plant.declare import quantity


class Parabola(NamedTuple):
    """Parabola through the three largest neighbours of equal steps."""

    spacing_mmHg: Annotated[float, quantity("mmHg", 5, 60, "between steps", "invented")] = 20.0
    watch_s: Annotated[float, quantity("s", 1, 10, "time at each step", "invented")] = 2.0

    def search(self, instrument):
        pressures = np.arange(30.0, instrument.highest_mmHg, self.spacing_mmHg)
        swings = []
        for pressure in pressures:
            seen = yield Hold(float(pressure), self.watch_s, "step")
            light = seen.light[len(seen.light) // 4:]
            if np.mean(light >= 1.0 - 2.0 * instrument.light_step) > 0.02:
                return Failed("light saturated", "full scale")
            drift = np.polynomial.Polynomial.fit(np.arange(len(light)), light, 3)(np.arange(len(light)))
            low, high = np.percentile(light - drift, [5, 95])
            swings.append(high - low)
            if swings[-1] < 0.4 * max(swings):
                break
        best = int(np.argmax(swings))
        if max(swings) < 30.0 * instrument.light_step:
            return Failed("no pulse", f"the light moved by {max(swings):.2g}")
        if not 0 < best < len(swings) - 1:
            return Failed("pressure range exhausted", "the largest pulsation is at an end")
        left, middle, right = swings[best - 1 : best + 2]
        bend = left - 2.0 * middle + right
        vertex = float(pressures[best] + 0.5 * self.spacing_mmHg * (left - right) / bend)
        seen = yield Hold(vertex, 2.0, "level")
        level = float(np.mean(seen.light[len(seen.light) // 4:]))
        return Found(level, middle / 45.0, vertex, 8.0)
'''


DECLARED = ("from typing import *\nfrom plant.declare import quantity\nclass Mine(NamedTuple):\n"
            "    a_s: Annotated[float, quantity('s', 0, 1, 'a', 'b')]")


@pytest.fixture
def own(tmp_path):
    """`own(text)` is the folder of a file mine.py with this text, each time another one for the import system."""
    count = iter(range(100))

    def own(text):
        folder = tmp_path / str(next(count))
        folder.mkdir()
        (folder / "mine.py").write_text(text)
        return folder

    return own


def test_every_built_in_search_has_a_name():
    assert list(BUILT_IN) == ["classroom", "arctangent", "waveform", "probing"]
    for name, (kind, about) in BUILT_IN.items():
        strategy = load_strategy(name)
        assert strategy.name == name and isinstance(strategy.search, kind) and strategy.about == about
    assert load_strategy(strategies.USUAL).search == ProbingSearch()


def test_lists_and_all(own):
    assert [s.name for s in load_strategies("all")] == list(BUILT_IN)
    assert [s.name for s in load_strategies("probing, classroom")] == ["probing", "classroom"]
    folder = own(OWN)
    assert [s.name for s in load_strategies("all,mine.py:Parabola", folder)][-1] == "mine.py:Parabola"
    with pytest.raises(InputError, match="strategy = 'probing' is named twice"):
        load_strategies("all,probing")
    with pytest.raises(InputError, match="strategy = '' is not known"):
        load_strategies("probing,")


def test_a_search_of_ones_own_through_the_command(own):
    """One file is enough: it runs, its steps are listed under its own names, and it fails by name where it must."""
    spec = f"{own(OWN)}/mine.py:Parabola"
    done = said("search", "--strategy", spec)
    assert done.status == 0, done.err
    assert "Parabola through the three largest neighbours" in done.out
    assert "level" in done.out and "largest pulsation" in done.out and "set point found" in done.out
    spoiled = said("search", "--strategy", spec, "--finger", "mixed-1-0003-no_pulse")
    assert spoiled.status == 1 and "NO SET POINT" in spoiled.out and "no pulse" in spoiled.out


@pytest.mark.parametrize(("text", "says"), [
    ("", "the file has no NamedTuple class 'Mine'"),
    ("class Mine: pass", "the file has no NamedTuple class 'Mine'"),
    ("1 / 0", "ZeroDivisionError: division by zero"),
    ("from typing import NamedTuple\nclass Mine(NamedTuple):\n    a_s: float = 1.0", "Mine.a_s has no unit, bounds"),
    ("from typing import NamedTuple\nclass Mine(NamedTuple):\n    def look(self): pass", "no method search(self,"),
    (DECLARED + "\n    def search(self, i): yield", "Mine.a_s has no default"),
    (DECLARED + " = 2.0\n    def search(self, i): yield", "Mine.a_s = 2 s is outside 0 … 1 s"),
    (DECLARED + " = 'x'\n    def search(self, i): yield", "is no number"),
])
def test_a_wrong_file_is_one_line(own, text, says):
    with pytest.raises(InputError) as refusal:
        load_strategy("mine.py:Mine", own(text))
    assert str(refusal.value).startswith("strategy = 'mine.py:Mine': ") and says in str(refusal.value)


@pytest.mark.parametrize("spec", ["nobody", "mine.py", "absent.py:Mine", "", "a.py:b.py:C"])
def test_unknown_names(spec, tmp_path):
    with pytest.raises(InputError, match="strategy = "):
        load_strategy(spec, tmp_path)


class Scripted:
    """A search that yields and returns what it is told."""

    def __init__(self, *asked, outcome=None):
        self.asked, self.outcome = asked, outcome

    def search(self, instrument):
        asked = list(self.asked)
        while asked:
            yield asked.pop(0)
        return self.outcome


def ended(search):
    """Outcome of a search that sees nothing but silence."""
    plan = OwnSearch("mine.py:Mine", search).search(INSTRUMENT)
    request = next(plan)
    while True:
        silence = np.zeros(INSTRUMENT.ticks(request.seconds))
        try:
            request = plan.send(Seen(silence, silence, silence, silence))
        except StopIteration as end:
            return end.value


FINE = Found(0.5, 0.003, 90.0, 1.0)


def test_what_keeps_the_protocol_passes_through():
    assert ended(Scripted(Hold(90.0, 1.0), Clamp(0.5, 0.003, 1.0), Vent(1.0), outcome=FINE)) is FINE
    sweep = np.zeros(1000)
    assert ended(Scripted(Clamp(0.5, 0.003, 1.0, sweep), outcome=Failed("no pulse", "x"))).reason == "no pulse"


@pytest.mark.parametrize(("search", "says"), [
    (Scripted("up", outcome=FINE), "asked for 'up', which is no Hold, Clamp or Vent"),
    (Scripted(Hold(math.nan, 1.0)), "Hold with pressure_mmHg = nan, which must be from 0 to 1000"),
    (Scripted(Hold(-1.0, 1.0)), "pressure_mmHg = -1, which must be"),
    (Scripted(Hold(90.0, 1e9)), "seconds = 1e+09, which must be from 0 to 600"),
    (Scripted(Hold("90", "x")), "seconds = 'x', which is no number"),
    (Scripted(Clamp(0.5, 0.0, 1.0)), "light_slope = 0, which must be"),
    (Scripted(Clamp(np.zeros(3), 0.003, 1.0)), "set_point = array([0., 0., 0.]), which is no single number"),
    (Scripted(Clamp(0.5, 0.003, 1.0, np.zeros(7))), "a sweep of 7 samples for 1000 ticks"),
    (Scripted(Clamp(0.5, 0.003, 1.0, np.full(1000, math.inf))), "sweep_mmHg = an array, which must be"),
    (Scripted(Clamp(0.5, 0.003, 1.0, course_mmHg=np.zeros(7))), "a course of 7 samples for 1000 ticks"),
    (Scripted(Clamp(0.5, 0.003, 1.0, course_mmHg=math.nan)), "course_mmHg = nan, which must be"),
    (Scripted(Vent(1.0), outcome=None), "returned None, which is neither Found nor Failed"),
    (Scripted(Vent(1.0), outcome=Failed("tired", "")), "returned Failed for 'tired'; use one of light saturated"),
    (Scripted(Vent(1.0), outcome=FINE._replace(sd_mmHg=math.nan)), "returned Found with sd_mmHg = nan"),
])
def test_what_breaks_the_protocol_is_one_line(search, says):
    with pytest.raises(InputError) as refusal:
        ended(search)
    assert str(refusal.value).startswith("mine.py:Mine: ") and says in str(refusal.value)


def test_what_a_search_raises_names_its_line(own):
    folder = own("from typing import NamedTuple\nfrom calibrate.protocol import Hold\nclass Mine(NamedTuple):\n"
                 "    def search(self, i):\n        seen = yield Hold(90.0, 1.0)\n        return seen.volume\n")
    with pytest.raises(InputError, match=r"mine\.py:Mine: AttributeError in line 6 of mine\.py: .*volume"):
        ended(load_strategy("mine.py:Mine", folder).search.inner)
    folder = own("from typing import NamedTuple\nclass Mine(NamedTuple):\n    def search(self, i):\n        return 3\n")
    with pytest.raises(InputError, match="must be a generator"):
        ended(load_strategy("mine.py:Mine", folder).search.inner)


def test_faults_one_by_one():
    assert request_fault(Hold(90.0, 1.0)) == "" == request_fault(Vent(1.0)) == outcome_fault(FINE)
    assert sweep_fault(Hold(90.0, 1.0), INSTRUMENT) == ""
    assert "3 samples" in sweep_fault(Clamp(0.5, 0.003, 1.0, np.zeros(3)), INSTRUMENT)


def test_a_search_of_ones_own_costs_no_compiling(own):
    """It shapes nothing of the kernel, so the compiled code stays where it was."""
    before = cache_directory()
    load_strategy("mine.py:Parabola", own(OWN))
    assert cache_directory() == before


def test_a_digest_follows_the_file(own, monkeypatch):
    folder = own(OWN)
    monkeypatch.chdir(folder)
    before = source_digest("mine.py:Parabola")
    assert len(before) == 16 and source_digest("probing") == "" == source_digest("absent.py:Mine")
    Path("mine.py").write_text(OWN.replace("20.0", "25.0"))
    assert source_digest("mine.py:Parabola") != before
