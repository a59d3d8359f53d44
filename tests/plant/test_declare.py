"""Declarations that refuse bad values, verbs in compiled code, and a disk cache that cannot go stale."""
import importlib
import inspect
import math
import os
import pkgutil
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit
from pydantic import TypeAdapter, ValidationError

import plant
from plant import declare
from plant.declare import compiled, declared, inlined, quantity, switch, verb
from plant.electronics.transducer import Transducer
from plant.finger.light import Light


class Sample(NamedTuple):
    """One parameter of each kind."""

    width_mm: Annotated[float, quantity("mm", 0.5, 4, "width", "invented")] = 1.0
    count: Annotated[int, quantity("1", 1, 8, "how many", "invented")] = 2
    open: Annotated[bool, switch("open or not", "invented")] = False


class Other(NamedTuple):
    """Another part that answers the same verb."""

    width_mm: Annotated[float, quantity("mm", 0.5, 4, "width", "invented")] = 3.0


class Bare(NamedTuple):
    """A parameter that nobody declared."""

    width_mm: Annotated[float, quantity("mm", 0.5, 4, "width", "invented")] = 1.0
    forgotten: float = 0.0


def part_classes() -> list[type]:
    """Every NamedTuple in the plant with at least one declared parameter; events of scenarios have no defaults."""
    found: set[type] = set()
    for module in pkgutil.walk_packages(plant.__path__, "plant."):
        if module.name.startswith("plant.scenarios"):
            continue
        for _, kind in inspect.getmembers(importlib.import_module(module.name), inspect.isclass):
            if issubclass(kind, tuple) and "Annotated" in str(inspect.get_annotations(kind)):
                found.add(kind)
    return sorted(found, key=lambda kind: kind.__name__)


PARTS = part_classes()


def test_the_walk_finds_the_parts() -> None:
    """The list below is not empty by accident."""
    names = {kind.__name__ for kind in PARTS}
    assert names >= {"Air", "Artery", "Cuff", "FlowValve", "Light", "NoTube", "PressureValve", "Supply", "Tissue",
                     "ToneDrive", "Transducer", "Tube", "Vein"}


@pytest.mark.parametrize("part", PARTS)
def test_every_parameter_is_declared(part: type) -> None:
    """Unit, bounds, meaning and source for each; the default is of its type and inside its bounds; it validates."""
    for parameter in declared(part):
        where = f"{part.__name__}.{parameter.name}"
        assert parameter.meaning.strip() and parameter.source.strip(), where
        assert isinstance(parameter.default, parameter.kind), where
        if parameter.kind is bool:
            continue
        assert parameter.unit, where
        assert parameter.low is not None and parameter.high is not None and parameter.low <= parameter.high, where
        assert parameter.low <= parameter.default <= parameter.high, where
    assert TypeAdapter(part).validate_python({}) == part()


@pytest.mark.parametrize("part", PARTS)
def test_every_bound_is_enforced_and_named(part: type) -> None:
    """Just outside either bound, NaN, a word, a list: refused, naming the key. On the bound: taken."""
    adapter = TypeAdapter(part)

    def refused(name: str, value: Any) -> None:
        with pytest.raises(ValidationError) as refusal:
            adapter.validate_python({name: value})
        assert [error["loc"] for error in refusal.value.errors()] == [(name,)]

    for parameter in declared(part):
        for value in ("many", [1.0], None, math.nan, math.inf):
            refused(parameter.name, value)
        if parameter.kind is bool:
            continue
        for bound, direction in ((parameter.low, -1.0), (parameter.high, 1.0)):
            assert getattr(adapter.validate_python({parameter.name: bound}), parameter.name) == bound
            beyond = 1 if parameter.kind is int else 1e-6 * max(abs(bound), 1.0)
            refused(parameter.name, bound + direction * beyond)
    refused("no_such_key", 1.0)


@settings(max_examples=50, deadline=None)
@given(st.from_type(Light), st.from_type(Transducer))
def test_what_is_within_bounds_is_taken_as_it_is(light: Light, transducer: Transducer) -> None:
    """Round trip through the validator, numbers untouched and of the type that the kernel is compiled for."""
    for part in (light, transducer):
        kept = TypeAdapter(type(part)).validate_python(part._asdict())
        assert kept == part and [type(v) for v in kept] == [type(v) for v in part]


def test_whole_numbers_become_floats_where_floats_are_declared() -> None:
    """`width_mm = 2` in a file must not compile a second kernel for integers."""
    part = TypeAdapter(Sample).validate_python({"width_mm": 2, "count": 3})
    assert type(part.width_mm) is float and type(part.count) is int


def test_declaration_is_plain_data() -> None:
    """What documentation and bench print."""
    width, count, is_open = declared(Sample)
    assert (width.name, width.unit, width.low, width.high, width.meaning, width.source, width.default, width.kind) == (
        "width_mm", "mm", 0.5, 4, "width", "invented", 1.0, float)
    assert count.kind is int and is_open.kind is bool
    assert (is_open.unit, is_open.low, is_open.high) == ("", None, None)


def test_undeclared_parameter_is_named() -> None:
    """A part that forgot one says which."""
    with pytest.raises(ValueError, match=r"Bare\.forgotten has no unit"):
        declared(Bare)


# --- verbs ------------------------------------------------------------------------------------------------------


def test_verb_is_resolved_by_class_when_compiled(monkeypatch: pytest.MonkeyPatch) -> None:
    """One caller, two parts, each its own function; a part without one does not compile and is not guessed."""
    monkeypatch.setattr(declare, "include_source", lambda path: None)  # keep the other tests' cache
    area = verb("area")

    @area.of(Sample)
    def sample_area(part: Any, factor: float) -> float:
        return factor * part.width_mm * part.count

    @area.of(Other)
    def other_area(part: Any, factor: float) -> float:
        return -factor * part.width_mm

    @njit
    def twice(part: Any) -> float:
        return area(part, 2.0)

    assert (twice(Sample()), twice(Other())) == (area(Sample(), 2.0), area(Other(), 2.0)) == (4.0, -6.0)
    with pytest.raises(numba.TypingError):
        twice(Bare())
    with pytest.raises(numba.TypingError):
        twice(1.0)
    with pytest.raises(KeyError):
        area(Bare(), 2.0)


# --- cache ------------------------------------------------------------------------------------------------------


def test_a_verb_may_answer_for_every_class_that_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """In Python and in compiled code; a class of its own comes first, and another verb still refuses."""
    monkeypatch.setattr(declare, "_outside_sources", set())
    twice = verb("twice", otherwise=_doubled)

    @twice.of(Light)
    def none(part: Any, value: float) -> float:
        return 0.0 * value

    @compiled
    def asked(part: Any, value: float) -> float:
        return twice(part, value)  # type: ignore[no-any-return]

    for part, found in ((Transducer(), 6.0), (Light(), 0.0)):
        assert twice(part, 3.0) == asked(part, 3.0) == found
    with pytest.raises(KeyError):
        verb("alone")(Light(), 1.0)


def _doubled(part: Any, value: Any) -> Any:
    return 2.0 * value


def test_compiled_and_inlined_keep_numpy_rules() -> None:
    """Division by zero is an infinity, not an exception, in every compiled function."""
    def over(x: float) -> float:
        return 1.0 / x

    for kind in (compiled, inlined):
        assert kind(over)(0.0) == np.inf


def test_numba_settings_are_left_alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The user's own Numba cache directory stays as it was, and is not used for ours."""
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path))
    compiled(lambda x: x + 1.0)(1.0)
    assert str(tmp_path) == numba.config.CACHE_DIR
    assert not list(tmp_path.iterdir())


def test_cache_directory_follows_sources_and_setting(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """One directory per state of the sources, where it was asked for; a read-only home falls back, not over."""
    monkeypatch.setenv("CUFFLOOP_CACHE_DIR", str(tmp_path / "here"))
    place = declare.cache_directory()
    assert place.is_dir() and place.parent == tmp_path / "here" and declare.cache_directory() == place
    monkeypatch.setattr(declare, "_outside_sources", {Path(__file__).resolve()})
    assert declare.cache_directory() != place
    monkeypatch.setattr(declare, "version", lambda library: "0")
    assert len({place, declare.cache_directory()}) == 2
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("CUFFLOOP_CACHE_DIR", str(tmp_path / "file"))
    assert declare.cache_directory().is_dir()


def test_only_what_shapes_compiled_code_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that compile and whatever they import, in turn; a figure or the command line does not move the cache."""
    monkeypatch.setattr(declare, "_outside_sources", set())  # parts that other tests loaded
    top = Path(plant.__path__[0]).parent
    counted = {str(path.relative_to(top)) for path in declare._sources(top)}
    assert {"plant/finger/artery.py", "plant/units.py", "controller/tick/law.py"} <= counted
    assert "experiments/simulation/coupled.py" in counted
    assert not counted & {f"experiments/{n}.py" for n in ("commands/main", "check/pictures_run", "check/text")}
    for room in declare.ROOMS:  # whoever keeps code on disk says so in a way that the search sees
        for path in (top / room).glob("**/*.py"):
            if "@compiled" in path.read_text() or "@fused" in path.read_text() or "@njit" in path.read_text():
                assert str(path.relative_to(top)) in counted, path


KERNEL = '''"""A kernel of its own file: it calls the artery, and any part's verb."""
from plant.finger.artery import static_area
from plant.declare import compiled, verb

answer = verb("answer")


@compiled
def kernel(artery, part):
    return static_area(artery, 20.0, 0.0), answer(part)
'''

OWN_PART = '''"""A part of the user's own, outside the rooms."""
from typing import NamedTuple

from plant.kernel import answer


class Mine(NamedTuple):
    size: float = 2.0


@answer.of(Mine)
def mine(part):
    return 3.0 * part.size
'''

RUN = '''from plant.finger.artery import Artery
from mine import Mine
from plant.kernel import kernel

print(*kernel(Artery(), Mine()), sum(kernel.stats.cache_hits.values()))
'''


def test_an_edited_part_is_noticed(tmp_path: Path) -> None:
    """Compiled, cached and reused; then a constant in the artery's file, then in the user's own, and both are seen.

    Numba alone would not: it looks at the file of the cached function only.
    """
    room, own = tmp_path / "checkout" / "plant", tmp_path / "own"
    shutil.copytree(Path(plant.__path__[0]), room, ignore=shutil.ignore_patterns("__pycache__"))
    own.mkdir()
    (room / "kernel.py").write_text(KERNEL)
    (own / "mine.py").write_text(OWN_PART)
    (own / "run.py").write_text(RUN)
    paths = os.pathsep.join([str(tmp_path / "checkout"), str(own)])
    environment = {**os.environ, "PYTHONPATH": paths, "CUFFLOOP_CACHE_DIR": str(tmp_path / "cache")}
    environment["PYTHONDONTWRITEBYTECODE"] = "1"  # an edit within one second of the last must not meet old bytecode

    def run() -> tuple[float, float, int]:
        done = subprocess.run([sys.executable, str(own / "run.py")], env=environment, text=True, capture_output=True,
                              cwd=own, check=False)
        assert done.returncode == 0, done.stderr
        area, answer, hits = done.stdout.split()
        return float(area), float(answer), int(hits)

    def edit(path: Path, old: str, new: str) -> None:
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new))

    area, answer, hits = run()
    assert (answer, hits) == (6.0, 0)
    assert run() == (area, answer, 1)  # the cache works at all

    edit(room / "finger" / "artery.py", "0.5 * math.pi * law.below_mmHg", "0.25 * math.pi * law.below_mmHg")
    edited = run()
    assert edited[0] == pytest.approx(area - 0.25, rel=1e-12) and edited[1:] == (6.0, 0)

    edit(own / "mine.py", "3.0 * part.size", "5.0 * part.size")
    assert run() == (edited[0], 10.0, 0)


def test_a_part_beside_the_rooms_counts_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """A user's file inside the checkout but outside the four rooms is remembered; one inside them already counts."""
    remembered: set[Path] = set()
    monkeypatch.setattr(declare, "_outside_sources", remembered)
    monkeypatch.setattr(declare, "_cached", [])
    monkeypatch.setattr(declare, "_place", declare._place)
    declare.include_source(Path(plant.__path__[0]) / "finger" / "artery.py")
    assert remembered == set()
    declare.include_source(Path(__file__))
    assert remembered == {Path(__file__).resolve()}


def test_the_same_part_in_another_folder_has_a_cache_of_its_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """It is another module there, and code cached for the one could not be read for the other."""
    places = []
    monkeypatch.setenv("CUFFLOOP_CACHE_DIR", str(tmp_path / "cache"))
    for folder in ("one", "other"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "mine.py").write_text(OWN_PART)
        monkeypatch.setattr(declare, "_outside_sources", {tmp_path / folder / "mine.py"})
        places.append(declare.cache_directory())
    assert places[0] != places[1]


FACTORY = '''"""Two compiled functions of one factory, each called by a function that is kept on disk."""
from plant.declare import compiled, inlined


def walking(step):
    @inlined
    def walk(x):
        total = 0.0
        for i in range(1, 40):
            total += step(x) / i if total < 50.0 else 1.0
        return total

    return walk


@inlined
def up(x):
    return x


@inlined
def down(x):
    return -1000.0 * x


walk_up, walk_down = walking(up), walking(down)


@compiled
def upwards(x):
    return walk_up(x)


@compiled
def downwards(x):
    return walk_down(x)
'''


def test_two_functions_of_one_factory_are_told_apart(tmp_path: Path) -> None:
    """What one process kept and what another compiled meet under the same name and count, as both came first."""
    (tmp_path / "walks.py").write_text(FACTORY)
    paths = os.pathsep.join([str(Path(plant.__path__[0]).parent), str(tmp_path)])
    environment = {**os.environ, "PYTHONPATH": paths, "CUFFLOOP_CACHE_DIR": str(tmp_path / "cache")}

    def run(*names: str) -> list[float]:
        text = f"import walks; print({', '.join(f'walks.{name}(1.0)' for name in names)})"
        done = subprocess.run([sys.executable, "-c", text], env=environment, text=True, capture_output=True, check=True)
        return [float(word) for word in done.stdout.split()]

    kept = run("upwards")
    assert kept[0] > 0.0 and run("downwards", "upwards") == [-1000.0 * kept[0], *kept]
