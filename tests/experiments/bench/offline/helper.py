"""One live figure for these tests, made once: the wrist on a synthetic record."""
import functools
import os

import pytest

from experiments.bench.offline.entry import entry_of
from experiments.bench.offline.figure import figure_page
from experiments.bench.offline.scene import ready_at, scene_of
from experiments.bench.offline.webassembly import linker, module_of
from experiments.bench.setup import pressures, source, whole_record
from plant.errors import InputError
from tests.experiments.bench.helper import SETUP


def with_linker():
    """Skip, saying why, where nothing can link WebAssembly; fail where it must."""
    try:
        linker()
    except InputError as error:
        if os.environ.get("CUFFLOOP_NEEDS_LINKER"):
            pytest.fail(str(error))
        pytest.skip(str(error))


@functools.cache
def scene():
    """The scene."""
    rig = source(SETUP, "wrist").rig()
    return scene_of(rig, whole_record(SETUP, rig.timing.period_s), pressures(SETUP, rig.timing.period_s))


def usual():
    """The run as the rig has it, ready to begin."""
    found = scene()
    return ready_at(found.rig, found.trace, found.at(*(axis.usual for axis in found.axes)))


@functools.cache
def entry():
    """Its loop, compiled for the outside."""
    return entry_of(usual())


@functools.cache
def module(rounds_once):
    """One of the two modules."""
    return module_of(entry(), rounds_once)


@functools.cache
def page():
    """The whole page."""
    return figure_page(scene(), "cuffloop bench wrist --offline live.html")
