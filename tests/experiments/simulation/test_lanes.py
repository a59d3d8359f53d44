"""Fingers side by side against the same fingers run alone: every channel of every tick, states, splits, divergence."""
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
import pytest

from controller.tick.firmware import CLAMP, FILL, VENT
from controller.tick.inverse import achieved_demand, valve_command
from controller.tick.law import design
from experiments.rigs.rig import clamp, load_rig
from experiments.simulation.coupled import (
    CHANNELS,
    DIVERGED,
    RUNNING,
    ClosedLoop,
    Orders,
    at_rest,
    closed_loop,
    no_commands,
    run_ticks,
)
from experiments.simulation.lanes import USUAL_CHANNELS, Lanes
from plant.assembly import Inputs, Surroundings, initial_state
from plant.errors import InputError
from plant.numerics.vector import WIDTH

QUIET = ("light.bits=0", "transducer.bits=0", "controller.output_bits=0")
AT_WORK = ("timing.dead_time_s=0.0023", "timing.jitter_s=0.0006", "timing.missed_share=0.05", "valve.hysteresis=0.004",
           "light.flicker=0.001", "controller.slew_per_s=60.0")
TICKS = 700


class Bench:
    """Random fingers on a rig, with their inputs and orders, to be run alone or side by side."""

    def __init__(self, name="wrist", changes=QUIET, count=11, ticks=TICKS, seed=3, substeps=5):
        self.rig, self.ticks, self.count = load_rig(name, list(changes)), ticks, count
        random = np.random.default_rng(seed)
        self.plants = [self.finger(random) for _ in range(count)]
        self.seeds = [int(s) for s in random.integers(0, 2**62, count)]
        loop = closed_loop(self.rig, substeps)
        clock = loop.clock
        self.clocks = [
            clock._replace(substeps=float(more + substeps), share=clock.share and random.uniform(0.0, 1.0),
                           drift_mmHg_tick=plant.transducer.drift_mmHg_h * clock.period_s / 3600.0)
            for plant, more in zip(self.plants, random.integers(0, 3, count), strict=True)
        ]
        law, period = self.rig.controller, self.rig.timing.period_s
        self.firmwares = [
            loop.firmware._replace(coefficients=design(law._replace(kp=law.kp * more), period))
            for more in random.uniform(0.8, 1.1, count)
        ]
        time = np.arange(ticks + 1)[:, None] * 1e-3
        rate, phase = random.uniform(0.8, 2.5, count), random.uniform(0, 6, count)
        self.signals = {
            "arterial_mmHg": 95.0 + random.uniform(-10, 10, count) + 20.0 * np.sin(6.28 * rate * time + phase),
            "tone": 0.2 * np.sin(3.0 * time + phase),
            "ambient": np.full((ticks + 1, 1), 0.02),
        }
        points = [clamp(self.rig._replace(plant=plant), 95.0, 0.0) for plant in self.plants]
        mode = np.full((ticks, count), CLAMP)
        mode[: ticks // 3] = FILL
        mode[ticks // 2 : ticks // 2 + 40, ::3] = VENT
        mode[ticks // 2 + 40 : ticks // 2 + 80, ::3] = FILL
        self.signals |= {
            "mode": mode, "fill_mmHg": np.array([p.state.cuff_mmHg for p in points]),
            "set_point": np.array([p.light for p in points]),
            "light_slope": np.array([p.light_slope for p in points]),
        }
        self.starts = [at_rest(initial_state(plant, Surroundings(95.0, 0.0, 0.02))) for plant in self.plants]

    def finger(self, random):
        """A random finger on this rig's instrument."""
        plant, between = self.rig.plant, random.uniform
        return plant._replace(
            artery=plant.artery._replace(
                maximal_area=between(0.6, 1.5), unloaded_mmHg=between(0, 10), half_width_mmHg=between(8, 25),
                creep_time_s=between(1, 10)),
            vein=plant.vein._replace(least_volume=between(0.1, 0.4), emptying_s=between(0.5, 3)),
            light=plant.light._replace(transmission=between(0.4, 0.9), noise=between(0, 1e-4)),
            tissue=plant.tissue._replace(lag_s=between(2e-4, 1e-3), transmission=between(0.85, 1.0)),
            cuff=plant.cuff._replace(volume_mL=between(2.0, 3.0)),
            transducer=plant.transducer._replace(offset_mmHg=between(-2, 2), drift_mmHg_h=between(-50, 50)),
        )

    def lanes(self, channels=CHANNELS):
        return Lanes(self.loops(), self.seeds, self.starts, channels=channels)

    def loops(self):
        return [ClosedLoop(*parts) for parts in zip(self.plants, self.firmwares, self.clocks, strict=True)]

    def block(self, first, end):
        """Signals of a block."""
        extra = {"arterial_mmHg", "tone", "ambient"}
        return {name: value if value.ndim < 2 else value[first : end + (name in extra)]
                for name, value in self.signals.items()}

    def alone(self, finger):
        """The single run of one finger: rows (ticks, channels), state, status, ticks done."""
        def of(name):
            value = np.broadcast_to(self.signals[name], (self.ticks + (name in ("arterial_mmHg", "tone", "ambient")),
                                                         self.count))
            return np.ascontiguousarray(value[:, finger])

        loop = self.loops()[finger]
        rows = np.zeros((self.ticks, len(CHANNELS)))
        orders = Orders(of("mode").astype(np.int64), of("fill_mmHg"), of("set_point"), of("light_slope"))
        inputs = Inputs(of("arterial_mmHg"), of("tone"), of("ambient"))
        return rows, *run_ticks(
            loop, self.seeds[finger], inputs, orders, self.starts[finger], no_commands(loop), rows)


def stacked(found):
    """Channels as (ticks, fingers, channels)."""
    return np.stack([found[name] for name in CHANNELS], axis=-1)


@pytest.mark.parametrize("name", ["wrist", pytest.param("cabinet", marks=pytest.mark.slow)])
@pytest.mark.parametrize("changes", [(), AT_WORK], ids=["plain", "all at work"])
def test_each_finger_is_its_single_run(name, changes):
    """Every channel within 1e-9 of its size, cuff pressure within 1e-9 mmHg, converter steps off."""
    changes = [c for c in changes if not (name == "cabinet" and c.startswith("controller.slew"))]
    bench = Bench(name, (*QUIET, *changes))
    lanes = bench.lanes()
    found = stacked(lanes.run(bench.ticks, **bench.signals))
    for finger in range(bench.count):
        rows, state, status, done = bench.alone(finger)
        apart = np.max(np.abs(found[:, finger] - rows), axis=0)
        assert apart[CHANNELS.index("cuff_mmHg")] < 1e-9
        size = np.maximum(np.max(np.abs(rows), axis=0), 1.0)
        assert np.all(apart / size < 1e-9), dict(zip(CHANNELS, apart, strict=True))
        assert (status, done) == (RUNNING, bench.ticks) == (lanes.status[finger], lanes.done[finger])
        assert lanes.state(finger).tick == state.tick and type(lanes.state(finger).firmware.mode) is int
        assert np.ptp(rows[:, CHANNELS.index("cuff_mmHg")]) > 50.0


def test_converter_steps_differ_in_single_steps_only():
    """With converters a rounding may flip a last bit; it does so on next to no tick."""
    bench = Bench(changes=(), count=16)
    found = stacked(bench.lanes().run(bench.ticks, **bench.signals))
    flipped = 0
    for finger in range(bench.count):
        rows, *_ = bench.alone(finger)
        light, reading = CHANNELS.index("light"), CHANNELS.index("reading_mmHg")
        for channel, step in ((light, 2.0**-16), (reading, 400.0 * 2.0**-16)):
            steps = np.abs(found[:, finger, channel] - rows[:, channel]) / step
            flipped += np.count_nonzero(steps > 0.5)
            assert np.max(steps) < 1.5
    assert flipped <= 0.001 * 2 * bench.count * bench.ticks


@pytest.mark.parametrize("changes", [QUIET, (*QUIET, *AT_WORK)], ids=["plain", "all at work"])
def test_blocks_give_the_same_bits(changes):
    bench = Bench(changes=changes, count=5)
    whole, parts = bench.lanes(), bench.lanes()
    expected, found, first = stacked(whole.run(bench.ticks, **bench.signals)), [], 0
    for length in (1, 2, 50, 250, 13, bench.ticks - 316):
        found.append(stacked(parts.run(length, **bench.block(first, first + length))))
        first += length
    assert np.array_equal(np.concatenate(found), expected)
    assert all(str(whole.state(i)) == str(parts.state(i)) for i in range(bench.count))


def test_any_number_of_lanes_and_any_neighbours():
    """A finger's bits do not depend on who runs beside it, nor on threads."""
    bench = Bench(count=2 * WIDTH + 1, ticks=250)
    with ThreadPoolExecutor(2) as pool:
        expected = stacked(bench.lanes().run(250, pool, 2, **bench.signals))
    for count in (1, 2, WIDTH - 1, WIDTH, WIDTH + 1):
        some = Lanes(*(of[:count] for of in (bench.loops(), bench.seeds, bench.starts)), channels=CHANNELS)
        signals = {name: value if value.shape[-1] == 1 else value[..., :count] for name, value in bench.signals.items()}
        assert np.array_equal(stacked(some.run(250, **signals)), expected[:, :count])


def test_a_diverging_finger_is_frozen_and_hurts_nobody():
    bench = Bench(count=WIDTH, ticks=300)
    sound = stacked(bench.lanes().run(300, **bench.signals))
    bad = bench.plants[3]
    bench.plants[3] = bad._replace(light=bad.light._replace(bandwidth_Hz=5000.0))  # too fast for five steps a tick
    lanes = bench.lanes()
    found = np.concatenate([stacked(lanes.run(k, **bench.block(f, f + k))) for f, k in ((0, 100), (100, 200))])
    others = [i for i in range(WIDTH) if i != 3]
    assert np.array_equal(found[:, others], sound[:, others])
    rows, state, status, done = bench.alone(3)
    assert status == DIVERGED and done < 300
    assert lanes.status.tolist() == [DIVERGED if i == 3 else RUNNING for i in range(WIDTH)]
    assert lanes.done.tolist() == [done if i == 3 else 300 for i in range(WIDTH)]
    assert np.all(np.isnan(found[done:, 3])) and np.all(np.isfinite(found[: done - 1, 3]))
    np.testing.assert_allclose(found[: done - 1, 3], rows[: done - 1], rtol=1e-6, atol=1e-6)
    assert lanes.state(3).tick == state.tick == done


def test_commands_under_way_and_a_later_start():
    """Lanes take over from single runs in the middle: state, tick number and the ring of pending commands."""
    bench = Bench(changes=(*QUIET, *AT_WORK), count=3, ticks=400)
    expected = stacked(bench.lanes().run(400, **bench.signals))
    first = bench.lanes()
    first.run(150, **bench.block(0, 150))
    second = Lanes(bench.loops(), bench.seeds, [first.state(i) for i in range(3)], first.pending, CHANNELS)
    assert np.array_equal(stacked(second.run(250, **bench.block(150, 400))), expected[150:])


def test_signals_stay_until_changed_and_only_kept_channels_come_back():
    bench = Bench(count=3, ticks=40)
    lanes, again = bench.lanes(USUAL_CHANNELS), bench.lanes(("cuff_mmHg",))
    found = lanes.run(20, arterial_mmHg=90.0, mode=FILL, fill_mmHg=[60.0, 70.0, 80.0])
    assert set(found) == set(USUAL_CHANNELS) and found["light"].shape == (20, 3)
    kept = [again.run(10, arterial_mmHg=90.0, fill_mmHg=np.array([60.0, 70.0, 80.0])), again.run(10)]
    assert np.array_equal(np.concatenate([k["cuff_mmHg"] for k in kept]), found["cuff_mmHg"])
    assert np.all(found["arterial_mmHg"] == 90.0)


def test_what_is_wrong_is_said():
    bench = Bench(count=3, ticks=40)
    with pytest.raises(InputError, match="channel 'pulse'"):
        bench.lanes(("pulse",))
    with pytest.raises(InputError, match="signal 'pressure'"):
        bench.lanes().run(5, pressure=3.0)
    with pytest.raises(InputError, match=r"tone has the shape \(4, 3\)"):
        bench.lanes().run(5, tone=np.zeros((4, 3)))
    bench.plants[1] = bench.plants[1]._replace(light=bench.plants[1].light._replace(bits=12))
    with pytest.raises(InputError, match=r"plant\.light\.bits: 0 and 12"):
        bench.lanes()
    bench = Bench(count=2, ticks=40)
    bench.clocks[1] = bench.clocks[1]._replace(whole_ticks=4)
    with pytest.raises(InputError, match=r"clock\.whole_ticks: 1 and 4"):
        bench.lanes()


class Hasty(NamedTuple):
    """An actuator of the user's own, written for one finger."""

    gain: float = 1.0


@valve_command.of(Hasty)
def hasty_command(stage: Hasty, demand: float, reading_mmHg: float) -> float:
    """Branches on a value that differs between fingers."""
    if reading_mmHg > 200.0:
        return 0.0
    return stage.gain * demand


@achieved_demand.of(Hasty)
def hasty_achieved(stage: Hasty, command: float, reading_mmHg: float) -> float:
    """The command, scaled back."""
    return command / stage.gain


def test_a_part_for_one_finger_only_is_refused_in_one_line():
    bench = Bench(count=2, ticks=40)
    bench.firmwares = [firmware._replace(stage=Hasty()) for firmware in bench.firmwares]
    with pytest.raises(InputError, match=r"choose") as caught:
        bench.lanes().run(5)
    assert "\n" not in str(caught.value)
