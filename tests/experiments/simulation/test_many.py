"""Many fingers, reduced while they run: the figures of single runs, the same bits however the work is cut."""
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.tick.inverse import Direct, achieved_demand, valve_command
from experiments.check.tracking import tracking
from experiments.rigs.rig import load_rig
from experiments.simulation.coupled import CHANNELS
from experiments.simulation.lanes import Lanes
from experiments.simulation.many import each_batch, finger_ready, run_batch, run_fingers
from experiments.simulation.reduced import Figures, joined
from experiments.simulation.simulate import Plan, plan_modes, simulate
from experiments.subjects.population import sample_fingers
from experiments.work.run import local
from plant.assembly import Inputs
from plant.errors import InputError

RIG = load_rig("wrist")
SHORT = Plan(0.3, 0.2)
READY = partial(finger_ready, seconds=0.8, plan=SHORT, substeps=12)
ITEMS = [(RIG, finger) for finger in sample_fingers(40)]
NO_STEPS = ["light.bits=0", "transducer.bits=0", "controller.output_bits=0"]


def same(one: Figures, other: Figures) -> bool:
    """Bit for bit."""
    return all(np.array_equal(a, b, equal_nan=a.dtype == float) for a, b in zip(one, other, strict=True))


def part(figures: Figures, places) -> Figures:
    return Figures(*(column[places] for column in figures))


@pytest.fixture(scope="module")
def figures():
    return run_fingers(ITEMS, READY)


@pytest.mark.parametrize("name", ["wrist", pytest.param("cabinet", marks=pytest.mark.slow)])
@pytest.mark.parametrize("changes", [NO_STEPS, []], ids=["no converter steps", "converters"])
def test_sixteen_fingers_for_ten_seconds_are_their_single_runs(name, changes):
    """Cuff pressure within 1e-9 mmHg at every tick; with converters at work, equal but for a few single steps."""
    rig = load_rig(name, changes)
    runs = [finger_ready((rig, finger), 10.0) for finger in sample_fingers(16)]
    lanes = Lanes([run.loop for run in runs], [run.seed for run in runs], [run.start for run in runs],
                  channels=CHANNELS)
    signals = {key: np.stack([run.inputs[i] for run in runs], 1) for i, key in enumerate(Inputs._fields)}
    signals |= {key: [getattr(run, key) for run in runs] for key in ("fill_mmHg", "set_point", "light_slope")}
    found = lanes.run(runs[0].ticks, mode=plan_modes(runs[0].plan, runs[0].ticks, 1e-3)[:, None], **signals)
    flipped = 0
    for i, run in enumerate(runs):
        alone = simulate(run.rig, run.trace, run.plan, run.seed).channels
        apart = np.abs(found["cuff_mmHg"][:, i] - alone["cuff_mmHg"])
        assert np.ptp(alone["cuff_mmHg"][5000:]) > 15.0
        if changes:
            assert np.max(apart) < 1e-9
        for key, step in (("light", 2.0**-16), ("reading_mmHg", 400.0 * 2.0**-16)):
            steps = np.abs(found[key][:, i] - alone[key]) / step
            flipped += np.count_nonzero(steps > 0.5)
            assert np.max(steps) < 1.5
    assert flipped <= 32


def test_figures_are_those_of_each_run_alone(figures):
    for i, item in enumerate(ITEMS[:20]):
        ready = READY(item)
        run = simulate(ready.rig, ready.trace, ready.plan, ready.seed, 12)
        channels = run.channels
        whole = tracking(channels["cuff_mmHg"], channels["arterial_mmHg"], run.ideal_mmHg, channels["limited"] > 0.5,
                         run.counted, run.period_s)
        assert figures.status[i] == run.status and bool(figures.message[i]) == bool(run.message)
        expected = {
            "done_s": 0.8, "counted_s": whole.counted_s, "rms_mmHg": whole.arterial.rms_mmHg,
            "peak_mmHg": whole.arterial.peak_mmHg, "bias_mmHg": whole.arterial.bias_mmHg,
            "ideal_rms_mmHg": whole.ideal.rms_mmHg, "ideal_peak_mmHg": whole.ideal.peak_mmHg,
            "ideal_bias_mmHg": whole.ideal.bias_mmHg, "saturation_share": whole.saturation_share,
            "light": np.mean(channels["light"][run.counted]), "highest_mmHg": np.max(channels["cuff_mmHg"]),
        }
        assert set(expected) == set(Figures._fields[2:])
        for key, value in expected.items():
            assert getattr(figures, key)[i] == pytest.approx(value, rel=1e-9, abs=1e-9), key
    assert {"done", "saturated"} <= set(figures.status)  # so short a clamp has hardly settled


@given(st.lists(st.integers(0, len(ITEMS) - 1), min_size=1, max_size=9), st.integers(1, 5))
@settings(max_examples=6, deadline=None)
def test_bits_do_not_depend_on_neighbours_or_batches(figures, places, batch):
    assert same(run_fingers([ITEMS[i] for i in places], READY, batch=batch), part(figures, places))


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_bits_do_not_depend_on_threads(figures, workers):
    seen = []
    with ThreadPoolExecutor(workers) as pool:
        assert same(run_fingers(ITEMS, READY, pool, workers, 7, seen.append), figures)
    assert seen == [7, 14, 21, 28, 35, 40]


def test_bits_do_not_depend_on_processes(figures):
    """Two processes of this machine, as every study starts them."""
    with local(2).start() as pool:
        assert same(run_fingers(ITEMS, READY, pool, 2, 16), figures)


def test_only_a_few_batches_are_under_way():
    """Fingers are taken one by one as batches come back, so that any number of them fits."""
    taken = []

    def fingers():
        for item in ITEMS:
            taken.append(item)
            yield item

    short = partial(finger_ready, seconds=0.05, plan=Plan(0.02, 0.01), substeps=12)
    with ThreadPoolExecutor(2) as pool:
        batches = each_batch(fingers(), short, pool, 2, 2)
        for done in range(5):
            next(batches)
            assert len(taken) <= 2 * (done + 1 + 2 * 2 + 1)
        batches.close()
    assert len(taken) < len(ITEMS)


def test_bridged_ticks_do_not_count(figures):
    ready = READY(ITEMS[0])
    usable = ready.trace.usable.copy()
    usable[600:650] = False
    found = run_batch([ready._replace(trace=ready.trace._replace(usable=usable)), READY(ITEMS[1])])
    assert found.counted_s == pytest.approx([0.25, 0.3]) and found.rms_mmHg[0] != figures.rms_mmHg[0]
    assert same(part(found, [1]), part(figures, [1]))


def with_setting(item, *changes):
    """The item's finger on another rig."""
    return load_rig("wrist", list(changes)), item[1]


def test_unlike_fingers_go_in_groups(figures):
    """Dead time of other whole ticks, another converter, another structure: one batch, everybody as if alone."""
    mixed = [with_setting(ITEMS[0], "timing.dead_time_s=0.0024"), ITEMS[1], with_setting(ITEMS[2], "light.bits=12"),
             (load_rig("cabinet"), ITEMS[3][1]), with_setting(ITEMS[4], "timing.dead_time_s=0.0021")]
    found = run_fingers(mixed, READY)
    assert same(part(found, [1]), part(figures, [1]))
    for i, item in enumerate(mixed):
        assert same(part(found, [i]), run_fingers([item], READY))


def test_refused_and_diverged_are_values():
    """A finger that cannot be clamped is refused with its reason, one that runs away says when; nobody else minds."""
    good, low, wild = ITEMS[:3]
    low = low[0], low[1]._replace(artery=low[1].artery._replace(unloaded_mmHg=60.0), pressure=low[1].pressure._replace(
        systolic_mmHg=50.0, diastolic_mmHg=40.0))
    wild = with_setting(wild, "light.bandwidth_Hz=5000")
    coarse = partial(finger_ready, seconds=0.8, plan=SHORT, substeps=4)
    found = run_fingers([good, low, wild, good], coarse)
    assert found.status.tolist() == ["done", "refused", "diverged", "done"]
    assert "no clamp at" in found.message[1] and np.isnan(found.rms_mmHg[1]) and found.done_s[1] == 0.0
    assert found.message[2] == f"the run diverged at {found.done_s[2]:.3f} s" and 0.0 < found.done_s[2] < 0.8
    assert same(part(found, [0]), part(found, [3])) and same(part(found, [0]), run_fingers([good], coarse))


def test_nothing_and_nonsense():
    empty = run_fingers([], READY)
    assert len(empty.status) == 0 and same(joined([empty, empty]), empty)
    assert run_batch([InputError("why")]).message.tolist() == ["why"]
    with pytest.raises(TypeError):  # a mistake of the program is no finger that is refused
        run_fingers(ITEMS[:1], lambda item: finger_ready(item))


class Hasty(NamedTuple):
    """An actuator of the user's own, written for one finger."""

    gain: float = 1.0


@valve_command.of(Hasty)
def hasty_command(stage: Hasty, demand: float, reading_mmHg: float) -> float:
    """Branches on a value that differs between fingers; as it happens, never."""
    if reading_mmHg > 900.0:
        return 0.0
    return stage.gain * demand


@achieved_demand.of(Hasty)
def hasty_achieved(stage: Hasty, command: float, reading_mmHg: float) -> float:
    """The command, scaled back."""
    return command / stage.gain


def test_a_part_for_one_finger_only_runs_alone():
    """With the same figures as one written for many, and beside those that need not wait for it."""
    direct = load_rig("cabinet")
    assert isinstance(direct.stage, Direct) and direct.stage.gain == 1.0
    hasty = direct._replace(stage=Hasty())
    for _ in range(2):  # found out, and known
        found = run_fingers([(hasty, ITEMS[0][1]), ITEMS[1], (hasty, ITEMS[2][1])], READY)
        assert same(found, run_fingers([(direct, ITEMS[0][1]), ITEMS[1], (direct, ITEMS[2][1])], READY))
