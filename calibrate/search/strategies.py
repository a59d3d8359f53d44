"""Set-point searches by name, and one of the user's own from a file: `FILE.py:Class`.

A built-in one is a module of this folder with a dict `SEARCHES`, and nothing else needs to know of it.

**A search of one's own** is a NamedTuple class with a method `search(self, instrument)` that is a generator. It yields
requests, is sent what the firmware saw on those ticks, and returns a set point or a named failure:

    from typing import Annotated, NamedTuple
    import numpy as np
    from calibrate.protocol import Failed, Found, Hold
    from plant.declare import quantity

    class ThreeLooks(NamedTuple):
        watch_s: Annotated[float, quantity("s", 1, 10, "time at each pressure", "invented")] = 2.0

        def search(self, instrument):
            best = None
            for pressure in (60.0, 90.0, 120.0):
                seen = yield Hold(pressure, self.watch_s, "look")
                half = seen.light[len(seen.light) // 2:]
                swing = np.ptp(half)
                if best is None or swing > best[0]:
                    best = swing, float(np.mean(half)), pressure
            if best[0] < 20 * instrument.light_step:
                return Failed("no pulse", f"the light moved by {best[0]:.2g}")
            return Found(set_point=best[1], light_slope=best[0] / 80, cuff_mmHg=best[2], sd_mmHg=10.0)

Parameters are declared as everywhere, each with a default. Requests are `Hold`, `Clamp` and `Vent`
(`calibrate/protocol.py`); nothing but light, transducer reading, command and its limits comes back. A failure's reason
is a key of `FAILURES`. `sd_mmHg` is the standard deviation of the set point's error as transmural pressure: a study
counts how often the 90 % interval, 1.645 times as wide, holds the truth. What else a file of `calibrate/search/` may
offer: the staircase (`staircase.py`), its fit (`arctangent.py`) and probing in the clamp (`probing.py`).
"""
from __future__ import annotations

import hashlib
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import Any, NamedTuple

import numpy as np

from calibrate import search
from calibrate.protocol import FAILURES, Clamp, Failed, Found, Hold, Instrument, Plan, Search, Vent
from plant.bounds import check_bounds
from plant.declare import declared
from plant.errors import InputError
from plant.messages import value_text
from plant.own_class import load_class

ALL, USUAL = "all", "probing"
FIRST = ("classroom", "arctangent", "waveform", "probing")  # in tables; what is not named follows by the alphabet
LONGEST_REQUEST_s = 600.0
LARGEST_mmHg = 1000.0  # of any pressure in a request
BY_TICK = {"sweep_mmHg": "sweep", "course_mmHg": "course"}  # what of a clamp may be given tick by tick


def _built_in() -> dict[str, tuple[type[Any], str]]:
    """The searches of every module of this folder that has a dict SEARCHES: name, class and what it does."""
    found: dict[str, tuple[type[Any], str]] = {}
    for module in iter_modules(search.__path__):
        name = f"{search.__name__}.{module.name}"
        if name != __name__:
            found |= getattr(import_module(name), "SEARCHES", {})
    order = sorted(found, key=lambda name: (FIRST.index(name) if name in FIRST else len(FIRST), name))
    return {name: found[name] for name in order}


BUILT_IN = _built_in()


class Strategy(NamedTuple):
    """A search and what it is called."""

    name: str  # a key of BUILT_IN, or FILE.py:Class as given
    about: str
    search: Search


class OwnSearch(NamedTuple):
    """A user's search, watched: what it asks and returns is checked, and what it raises becomes one line."""

    name: str
    inner: Search

    def search(self, instrument: Instrument) -> Plan:
        """Its plan. Raises InputError, naming it, when it breaks the protocol or fails by itself."""
        plan: Any = self._tried(self.inner.search, instrument)
        if not (hasattr(plan, "send") and hasattr(plan, "__next__")):
            raise InputError(f"{self.name}: search(instrument) must be a generator: let it yield its requests")
        request = self._tried(next, plan)
        while not isinstance(request, _End):
            fault = request_fault(request) or sweep_fault(request, instrument)
            if fault:
                raise InputError(f"{self.name}: asked for {fault}")
            seen = yield request
            request = self._tried(plan.send, seen)
        fault = outcome_fault(request.outcome)
        if fault:
            raise InputError(f"{self.name}: returned {fault}")
        outcome: Found | Failed = request.outcome
        return outcome

    def _tried(self, call: Any, argument: Any) -> Any:
        try:
            return call(argument)
        except StopIteration as end:
            return _End(end.value)
        except Exception as error:
            place = error.__traceback__
            while place is not None and place.tb_next is not None:
                place = place.tb_next
            line = f" in line {place.tb_lineno} of {Path(place.tb_frame.f_code.co_filename).name}" if place else ""
            raise InputError(f"{self.name}: {type(error).__name__}{line}: {error}") from None


class _End(NamedTuple):
    outcome: Any


def load_strategy(spec: str, folder: Path | None = None) -> Strategy:
    """The search of a name, or of a file `FILE.py:Class` relative to `folder` (the present one).

    Raises InputError for an unknown name, a file, class or parameter that cannot be used, or a class without `search`.
    """
    if spec in BUILT_IN:
        kind, about = BUILT_IN[spec]
        return Strategy(spec, about, kind())
    said = f"strategy = {value_text(spec)}"
    if ".py:" not in spec:
        raise InputError(f"{said} is not known; use one of {', '.join(BUILT_IN)}, or FILE.py:Class for your own")
    kind = load_class(spec, folder or Path.cwd(), "strategy")
    if not callable(getattr(kind, "search", None)):
        raise InputError(f"{said}: {kind.__name__} has no method search(self, instrument)")
    bare = [p.name for p in declared(kind) if p.name not in getattr(kind, "_field_defaults", {})]
    if bare:
        raise InputError(f"{said}: {kind.__name__}.{bare[0]} has no default")
    own = kind()
    try:
        check_bounds(own, f"{said}: {kind.__name__}")
    except TypeError as error:
        raise InputError(f"{said}: a default is no number: {error}") from None
    first = (kind.__doc__ or "").strip().splitlines()
    about = first[0] if first and not first[0].startswith(f"{kind.__name__}(") else "a search of one's own"
    return Strategy(spec, about, OwnSearch(spec, own))


def load_strategies(text: str, folder: Path | None = None) -> list[Strategy]:
    """Strategies from a list with commas; `all` stands for the built-in ones. Raises InputError, also when repeated."""
    names = [name.strip() for name in text.split(",")]
    names = [own for name in names for own in (BUILT_IN if name == ALL else (name,))]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"strategy = {value_text(name)} is named twice")
    return [load_strategy(name, folder) for name in names]


def source_digest(spec: str) -> str:
    """A digest of the file behind a strategy of the user's own; empty for a built-in one."""
    path = Path(spec.partition(":")[0])
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16] if spec not in BUILT_IN and path.is_file() else ""


def request_fault(request: Any) -> str:
    """What is wrong with a request of a search; empty when nothing is."""
    if not isinstance(request, (Hold, Clamp, Vent)):
        return f"{value_text(request)}, which is no Hold, Clamp or Vent"
    limits: dict[str, tuple[float, float]] = {"seconds": (0.0, LONGEST_REQUEST_s)}
    if isinstance(request, Hold):
        limits["pressure_mmHg"] = (0.0, LARGEST_mmHg)
    if isinstance(request, Clamp):
        limits |= {"set_point": (0.0, 1.0), "light_slope": (1e-12, 1.0), "tone_mmHg": (0.0, LARGEST_mmHg)}
        limits |= dict.fromkeys(BY_TICK, (-LARGEST_mmHg, LARGEST_mmHg))
    for name, (low, high) in limits.items():
        fault = _number_fault(name, getattr(request, name), low, high)
        if fault:
            return f"{type(request).__name__} with {fault}"
    return ""


def sweep_fault(request: Any, instrument: Instrument) -> str:
    """What is wrong with the length of a clamp's sweep or course; empty when nothing is."""
    ticks = instrument.ticks(request.seconds)
    for name, what in BY_TICK.items() if isinstance(request, Clamp) else ():
        samples = np.size(getattr(request, name))
        if samples not in (1, ticks):
            return f"Clamp with a {what} of {samples} samples for {ticks} ticks"
    return ""


def outcome_fault(outcome: Any) -> str:
    """What is wrong with the outcome of a search; empty when nothing is."""
    if isinstance(outcome, Failed):
        return "" if outcome.reason in FAILURES else (
            f"Failed for {value_text(outcome.reason)}; use one of {', '.join(FAILURES)}")
    if not isinstance(outcome, Found):
        return f"{value_text(outcome)}, which is neither Found nor Failed"
    limits = {"set_point": (0.0, 1.0), "light_slope": (1e-12, 1.0), "cuff_mmHg": (0.0, LARGEST_mmHg),
              "sd_mmHg": (0.0, LARGEST_mmHg), "width_mmHg": (1e-3, LARGEST_mmHg)}
    for name, (low, high) in limits.items():
        fault = _number_fault(name, getattr(outcome, name), low, high)
        if fault:
            return f"Found with {fault}"
    return ""


def _number_fault(name: str, value: Any, low: float, high: float) -> str:
    try:
        numbers = np.asarray(value, float)
    except (TypeError, ValueError):
        return f"{name} = {value_text(value)}, which is no number"
    if numbers.ndim > (name in BY_TICK):
        return f"{name} = {value_text(value)}, which is no single number"
    if np.all((numbers >= low) & (numbers <= high)):  # false for NaN as well
        return ""
    said = f"{float(numbers):g}" if numbers.ndim == 0 else "an array"
    return f"{name} = {said}, which must be from {low:g} to {high:g}"
