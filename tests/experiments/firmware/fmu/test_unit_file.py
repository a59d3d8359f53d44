"""A unit's file, and its library on this machine: the simulator's bits."""
import ctypes
import io
import xml.etree.ElementTree as ElementTree
import zipfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from experiments.firmware.fmu.parts import part_of
from experiments.firmware.fmu.unit_file import archive, build_library, description, references, unit_file, unit_sources
from experiments.rigs.rig import load_rig
from experiments.simulation.simulate import Ready, orders_of, prepare, run_ready
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.firmware.helper import needs_gcc


class Loaded:
    """A unit's library, called as an importer calls it."""

    def __init__(self, library: Path, known: dict[str, int]) -> None:
        self.library, self.known = ctypes.CDLL(str(library)), known
        make = self.library.fmi3InstantiateCoSimulation
        make.restype = ctypes.c_void_p
        make.argtypes = [ctypes.c_char_p] * 3 + [ctypes.c_bool] * 4 + [ctypes.c_void_p, ctypes.c_size_t] + \
            [ctypes.c_void_p] * 3
        self.made = ctypes.c_void_p(make(b"x", b"token", b"", False, False, False, False, None, 0, None, None, None))
        assert self.made

    def _arrays(self, names: Sequence[str], kind: type, values: Sequence[float] = ()) -> tuple[object, ...]:
        count = len(names)
        places = (ctypes.c_uint32 * count)(*[self.known[name] for name in names])
        return places, ctypes.c_size_t(count), (kind * count)(*values), ctypes.c_size_t(count)

    def begin(self, **values: float) -> None:
        """Initialise with inputs."""
        enter = self.library.fmi3EnterInitializationMode
        real, flag = ctypes.c_double, ctypes.c_bool
        enter.argtypes = [ctypes.c_void_p, flag, real, real, flag, real]
        assert enter(self.made, False, 0.0, 0.0, False, 0.0) == 0
        self.put(**values)
        assert self.library.fmi3ExitInitializationMode(self.made) == 0

    def put(self, **values: float) -> None:
        """Set inputs."""
        names = [name for name in values if name != "mode"]
        given = self._arrays(names, ctypes.c_double, [values[name] for name in names])
        assert self.library.fmi3SetFloat64(self.made, *given) == 0
        if "mode" in values:
            given = self._arrays(["mode"], ctypes.c_int32, [int(values["mode"])])
            assert self.library.fmi3SetInt32(self.made, *given) == 0

    def get(self, *names: str) -> list[float]:
        """Values of variables."""
        given = self._arrays(names, ctypes.c_double)
        assert self.library.fmi3GetFloat64(self.made, *given) == 0
        return list(given[2])  # type: ignore[call-overload]

    def step(self, now: float, length: float) -> int:
        """Advance; the status."""
        go = self.library.fmi3DoStep
        go.argtypes = [ctypes.c_void_p, ctypes.c_double, ctypes.c_double, ctypes.c_bool] + [ctypes.c_void_p] * 4
        flags, reached = (ctypes.c_bool * 3)(), ctypes.c_double()
        begin = ctypes.addressof(flags)
        return int(go(self.made, now, length, True, begin, begin + 1, begin + 2, ctypes.addressof(reached)))


def loaded(rig: str, folder: Path, arterial_mmHg: float) -> Loaded:
    """A loop on this machine."""
    part = part_of(load_rig(rig), "loop", arterial_mmHg=arterial_mmHg)
    for name, text in unit_sources(part, load_rig(rig)).items():
        (folder / name).write_text(text.replace("TOKEN_TEXT", "token"), encoding="utf-8")
    build_library(folder, "here", folder / "unit.so")
    return Loaded(folder / "unit.so", references(part.variables))


def made_ready(rig: str) -> Ready:
    """A short run."""
    made = load_rig(rig)
    return prepare(made, synthesise(SyntheticPressure(), made.timing.period_s, 6.0, 1))


@needs_gcc
@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
def test_a_loop_has_the_bits_of_the_simulator_and_can_go_back(rig: str, tmp_path: Path) -> None:
    """Light, reading, cuff pressure and command of every tick; a state that was kept leads to the same end."""
    ready = made_ready(rig)
    run, orders, inputs, period = run_ready(ready), orders_of(ready), ready.inputs, ready.period_s
    unit = loaded(rig, tmp_path, float(inputs.arterial_mmHg[0]))
    unit.begin(arterial_mmHg=inputs.arterial_mmHg[0], tone=inputs.tone[0], ambient=inputs.ambient[0])
    part = orders.part(0, ready.ticks)
    kept, seen = ctypes.c_void_p(), []

    def tick(k: int) -> None:
        unit.put(arterial_mmHg=inputs.arterial_mmHg[k + 1], tone=inputs.tone[k + 1], ambient=inputs.ambient[k + 1],
                 fill_mmHg=part.fill_mmHg[k], set_point=part.set_point[k], light_slope=part.light_slope[k],
                 mode=part.mode[k])
        assert unit.step(k * period, period) == 0

    for k in range(ready.ticks):
        before = unit.get("light", "reading_mmHg", "cuff_mmHg")
        tick(k)
        seen.append([*before, *unit.get("command", "error_mmHg")])
        if k == ready.ticks - 200:
            assert unit.library.fmi3GetFMUState(unit.made, ctypes.byref(kept)) == 0
    names = ("light", "reading_mmHg", "cuff_mmHg", "command", "error_mmHg")
    wanted = np.stack([run.channels[name] for name in names], axis=1)
    assert int(np.sum(np.array(seen) != wanted)) == 0
    end = unit.get("cuff_mmHg", "light", "command")
    assert unit.library.fmi3SetFMUState(unit.made, kept) == 0
    for k in range(ready.ticks - 199, ready.ticks):
        tick(k)
    assert unit.get("cuff_mmHg", "light", "command") == end
    assert unit.step(ready.ticks * period, 0.5 * period) == 3
    assert unit.step(0.0, period) == 3


def test_the_description_names_every_variable() -> None:
    """Once, with its own reference."""
    rig = load_rig("wrist")
    part = part_of(rig, "controller")
    tree = ElementTree.fromstring(description(part, "model", "token", rig))
    found = tree.find("ModelVariables")
    assert found is not None
    assert [v.attrib["name"] for v in found] == ["time", *(v.name for v in part.variables)]
    assert len({v.attrib["valueReference"] for v in found}) == len(part.variables) + 1


def test_an_archive_has_the_same_bytes_in_any_order() -> None:
    """No date, sorted."""
    assert archive({"b": b"2", "a": b"1"}) == archive({"a": b"1", "b": b"2"})
    with zipfile.ZipFile(io.BytesIO(archive({"b": b"2", "a": b"1"}))) as file:
        assert file.namelist() == ["a", "b"]


def test_an_unknown_part_is_refused() -> None:
    """With those there are."""
    with pytest.raises(InputError, match="controller, plant, loop"):
        unit_file(load_rig("wrist"), "valve")
