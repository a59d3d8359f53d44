"""A kernel is told apart by what it is compiled for."""
import numpy as np
from numba import typeof

from experiments.bench.answers import kernel
from experiments.bench.answers.kernel import is_at_hand, layout, load, note_at_hand, run_layout
from experiments.bench.answers.turned import ready_of
from tests.experiments.bench.helper import asked

CHANGES = [
    {}, {"controller.kp": 0.01}, {"tube.length_m": 1.0}, {"tube.sections": 3}, {"timing.dead_time_s": 0.0025},
    {"valve.kind": "pressure", "actuator.kind": "direct"}, {"tube.kind": "none"}, {"controller.output_bits": 12},
]


def test_layouts_agree_exactly_where_numba_sees_one_type():
    runs = [ready_of(asked(settings=settings)) for settings in CHANGES]
    types = [(typeof(run.loop), typeof(run.start)) for run in runs]
    for one, its in zip(runs, types, strict=True):
        assert [run_layout(one) == run_layout(other) for other in runs] == [its == other for other in types]
    assert len(set(types)) > 3


def test_arrays_count_by_kind_and_dimensions():
    assert layout(np.zeros(3)) == layout(np.zeros(5)) != layout(np.zeros((2, 2)))
    assert layout(1) != layout(1.0) != layout(True)


def test_at_hand_is_what_was_loaded_or_compiled_elsewhere(monkeypatch):
    monkeypatch.setattr(kernel, "_AT_HAND", set())
    long = ready_of(asked(settings={"tube.length_m": 1.0}))
    assert not is_at_hand(long)
    note_at_hand(long)
    assert is_at_hand(long) and not is_at_hand(ready_of(asked()))
    load(ready_of(asked()))
    assert is_at_hand(ready_of(asked()))
