"""Runs in forks of one process: the same findings as in a process of their own, and nothing left."""
from multiprocessing import active_children
from pathlib import Path

import numpy as np

from experiments.firmware.foreign.host import Host
from experiments.firmware.foreign.watch import run_foreign
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.foreign.test_watch import ready
from tests.experiments.firmware.helper import needs_gcc

pytestmark = needs_gcc


def test_forks_die_alone(tmp_path: Path) -> None:
    """Crash, exit, hang and no number at their tick; a good run between them has the bits of one that goes alone."""
    made, others = ready("wrist", 5.2), set(active_children())
    alone = run_foreign(made, planted(tmp_path, "none"))
    with Host() as host:
        for fault, kind in (("segv", "crash"), ("exit", "exit"), ("hang", "hang"), ("nan", "not a number")):
            found = run_foreign(made, planted(tmp_path, fault, tick=50), host=host)
            assert [(f.kind, f.tick) for f in found.findings] == [(kind, 50)]
        again = run_foreign(made, planted(tmp_path, "none"), host=host)
    assert set(active_children()) <= others
    assert again.findings == []
    assert again.run is not None
    assert alone.run is not None
    for name, values in alone.run.channels.items():
        assert np.array_equal(values, again.run.channels[name], equal_nan=True), name


def test_a_host_that_was_never_asked_has_no_process() -> None:
    """It is started by the first run."""
    others = set(active_children())
    with Host():
        assert set(active_children()) <= others
