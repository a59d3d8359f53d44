"""The coupled loop tick by tick: modes, dead time, jitter, missed ticks, converters, noise, blocks, divergence."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.tick.firmware import CLAMP, FILL, VENT
from experiments.rigs.rig import clamp, load_rig
from experiments.simulation.coupled import (
    CHANNELS,
    DIVERGED,
    RUNNING,
    CEILING_mmHg,
    Orders,
    at_rest,
    closed_loop,
    no_commands,
    run_ticks,
)
from plant.assembly import Course, Inputs, Surroundings, Switchover, initial_state, plant_tick
from plant.numerics.noise import JITTER, MISSED, uniform

QUIET = ("light.noise=0.0", "transducer.noise_mmHg=0.0", "light.bits=0", "transducer.bits=0",
         "controller.output_bits=0")
COLUMN = {name: i for i, name in enumerate(CHANNELS)}
AMBIENT = 0.02


class Bench:
    """A rig on constant arterial pressure, run tick by tick."""

    def __init__(self, *changes, modes=FILL, ticks=300, arterial=95.0, seed=1):
        self.rig = load_rig("wrist", list(changes))
        self.point = clamp(self.rig, 95.0, 0.0)
        self.ticks, self.seed = ticks, seed
        self.loop = closed_loop(self.rig, 8)
        self.inputs = Inputs(np.broadcast_to(np.asarray(arterial, float), (ticks + 1,)).copy(), np.zeros(ticks + 1),
                             np.full(ticks + 1, AMBIENT))
        self.orders = Orders(np.broadcast_to(np.asarray(modes, np.int64), (ticks,)).copy(),
                             np.full(ticks, self.point.state.cuff_mmHg), np.full(ticks, self.point.light),
                             np.full(ticks, self.point.light_slope))
        around = Surroundings(float(self.inputs.arterial_mmHg[0]), 0.0, AMBIENT)
        self.start = at_rest(initial_state(self.rig.plant, around))
        self.pending = no_commands(self.loop)

    def run(self, first=0, end=None, start=None):
        """Rows of a block of ticks and the state after it."""
        end = self.ticks if end is None else end
        rows = np.zeros((end - first, len(CHANNELS)))
        state, status, done = run_ticks(
            self.loop, self.seed, self.inputs.part(first, end), self.orders.part(first, end),
            self.start if start is None else start, self.pending, rows)
        return rows, state, status, done


def ran(*changes, **more):
    """Channels of a whole run by name."""
    rows, _, status, done = Bench(*changes, **more).run()
    assert status == RUNNING and done == len(rows)
    return {name: rows[:, i] for name, i in COLUMN.items()}


def test_fill_reaches_the_start_pressure_by_its_transducer():
    found = ran(modes=FILL, ticks=1500)
    assert found["cuff_mmHg"][0] == 0.0 and found["cuff_mmHg"][-1] == pytest.approx(90.0, abs=1.0)
    assert np.all(found["mode"] == FILL) and np.max(found["cuff_mmHg"]) < 95.0


def test_clamp_holds_the_light():
    """From a filled cuff the error goes to nothing, the area to that of p0, and cuff pressure to p_a − p0."""
    modes = np.where(np.arange(12_000) < 1000, FILL, CLAMP)
    bench = Bench(*QUIET, modes=modes, ticks=12_000)
    rows = bench.run()[0]
    found = {name: rows[:, i] for name, i in COLUMN.items()}
    assert abs(found["error_mmHg"][-1]) < 0.01 and found["area"][-1] == pytest.approx(bench.point.area, abs=1e-3)
    assert found["cuff_mmHg"][-1] == pytest.approx(90.0, abs=0.2)


def test_the_change_into_clamp_is_bumpless():
    """The command of the first clamped tick is the one that filling ended with, however far the set point is."""
    modes = np.where(np.arange(1200) < 1100, FILL, CLAMP)
    found = ran(*QUIET, "filling.handover_mmHg_s=0.0", modes=modes, ticks=1200, arterial=97.0)
    assert found["command"][1100] == pytest.approx(found["command"][1099], abs=1e-6)
    assert abs(found["error_mmHg"][1100]) > 1.0  # though there is an error to act on


def test_vent_empties_the_cuff():
    modes = np.where(np.arange(2500) < 1000, FILL, VENT)
    found = ran(modes=modes, ticks=2500)
    venting = found["cuff_mmHg"][1010:]
    assert np.all(found["command"][1000:] == -1.0)
    assert np.all(np.diff(venting) < 1e-6) and 0.0 <= venting[-1] < 1.0


# --- time ------------------------------------------------------------------------------------------------------------


def step_response(valve, time_s):
    """Position of an underdamped second-order spool after a unit step (textbook)."""
    omega, zeta = 2.0 * math.pi * valve.natural_frequency_Hz, valve.damping_ratio
    damped, time = omega * math.sqrt(1.0 - zeta * zeta), np.maximum(time_s, 0.0)
    return 1.0 - np.exp(-zeta * omega * time) * (np.cos(damped * time) + zeta * omega / damped * np.sin(damped * time))


@given(st.one_of(st.integers(0, 9), st.floats(0.0, 9.9)))
@settings(max_examples=25, deadline=None)
def test_dead_time_is_exact(ticks):
    """Behind a constant command from tick 0 the spool follows its closed form from the dead time on, not before."""
    bench = Bench(*QUIET, f"timing.dead_time_s={ticks * 1e-3!r}", "filling.gain_per_mmHg=0.0",
                  "filling.feedforward_per_mmHg=0.00001", ticks=16)
    state, positions = bench.start, []
    for k in range(bench.ticks):
        rows, state, _, _ = bench.run(k, k + 1, state)
        assert rows[0, COLUMN["reading_mmHg"]] < 1.0  # below it the inverse takes the pressure for 1 mmHg
        positions.append(state.plant.valve.position)
        command = rows[0, COLUMN["command"]]
    time_s = 1e-3 * np.arange(1, bench.ticks + 1)
    expected = command * step_response(bench.rig.plant.valve, time_s - ticks * 1e-3)
    assert command > bench.rig.plant.valve.dead_band
    np.testing.assert_allclose(positions, expected, atol=1e-4 * command)
    assert np.all(np.array(positions)[time_s <= ticks * 1e-3] == 0.0)


@given(st.integers(0, 2**32 - 1), st.floats(0.05, 0.95))
@settings(max_examples=20, deadline=None)
def test_jitter_delays_a_command_within_its_bounds(seed, jitter):
    """The tick is that of the plant with the command `jitter` times the tick's own uniform number late."""
    changes = (*QUIET, "timing.dead_time_s=0.0", f"timing.jitter_s={jitter * 1e-3!r}")
    bench = Bench(*changes, ticks=1, seed=seed)
    rows, state, _, _ = bench.run()
    late = bench.rig.timing.jitter_s / 1e-3 * uniform(seed, JITTER, 0)
    around = Surroundings(95.0, 0.0, AMBIENT)
    command = rows[0, COLUMN["command"]]

    def after(share):
        change = Switchover(0.0, command, share)
        return plant_tick(bench.rig.plant, bench.start.plant, Course(around, around), change, 8, 1e-3)

    assert 0.0 <= late < jitter
    assert state.plant == after(late)
    # a rising command that comes later leaves the spool behind: the earliest and the latest are the bounds
    assert after(jitter).valve.position <= state.plant.valve.position <= after(0.0).valve.position


@given(st.integers(0, 2**32 - 1), st.floats(0.05, 0.5))
@settings(max_examples=10, deadline=None)
def test_missed_ticks_hold_the_command(seed, share):
    """On a missed tick nothing runs: the last command stays, and so does all that the firmware remembers."""
    modes = np.where(np.arange(400) < 200, FILL, CLAMP)
    bench = Bench(f"timing.missed_share={share!r}", modes=modes, ticks=400, seed=seed)
    state, previous, missed = bench.start, 0.0, 0
    for k in range(bench.ticks):
        rows, after, _, _ = bench.run(k, k + 1, state)
        command = rows[0, COLUMN["command"]]
        if uniform(seed, MISSED, k) < share:
            missed += 1
            assert command == previous and str(after.firmware) == str(state.firmware)  # as text: NaN is NaN there
        state, previous = after, command
    assert abs(missed / bench.ticks - share) < 5.0 * math.sqrt(share * (1 - share) / bench.ticks)


# --- converters and noise --------------------------------------------------------------------------------------------


@given(st.integers(4, 16), st.integers(4, 16), st.integers(4, 16))
@settings(max_examples=10, deadline=None)
def test_converters_give_whole_steps(light, reading, output):
    modes = np.where(np.arange(300) < 100, FILL, CLAMP)
    found = ran(f"light.bits={light}", f"transducer.bits={reading}", f"controller.output_bits={output}", modes=modes)
    steps = {"light": 2.0**-light, "reading_mmHg": 400.0 * 2.0**-reading, "command": 2.0 * 2.0**-output}
    for name, step in steps.items():
        levels = found[name] / step
        np.testing.assert_allclose(levels, np.rint(levels), atol=1e-9)
        assert len(np.unique(levels)) > 1


def test_a_reading_is_off_by_at_most_half_a_step():
    fine, coarse = ran(*QUIET, ticks=400), ran(*QUIET[:3], "transducer.bits=10", QUIET[4], ticks=400)
    half = 0.5 * 400.0 / 1024
    assert 0.0 < np.max(np.abs(coarse["reading_mmHg"] - fine["reading_mmHg"])) < 3.0 * half
    assert abs(coarse["reading_mmHg"][0] - fine["reading_mmHg"][0]) <= half


@given(st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1))
@settings(max_examples=10, deadline=None)
def test_same_seed_same_bits(first, second):
    changes = ("timing.jitter_s=0.0005", "timing.missed_share=0.1", "timing.dead_time_s=0.0003")
    one, again, other = (Bench(*changes, seed=s).run()[0] for s in (first, first, second))
    assert np.array_equal(one, again)
    assert np.array_equal(one, other) == (first == second)


def test_noise_has_the_size_that_was_asked_for():
    """Light and reading scatter with the declared SD about the run without noise (here at an empty cuff)."""
    found = ran(*QUIET[2:], "light.noise=0.001", "transducer.noise_mmHg=0.5", modes=VENT, ticks=4000)
    assert np.std(found["light"]) == pytest.approx(0.001, rel=0.05)
    assert np.std(found["reading_mmHg"]) == pytest.approx(0.5, rel=0.05)
    assert abs(np.corrcoef(found["light"], found["reading_mmHg"])[0, 1]) < 0.05


def test_drift_adds_up_by_the_hour():
    found = ran(*QUIET, "transducer.drift_mmHg_h=36.0", modes=VENT, ticks=2001)
    assert found["reading_mmHg"][2000] - found["reading_mmHg"][0] == pytest.approx(36.0 * 2.0 / 3600.0, rel=1e-6)


# --- blocks ----------------------------------------------------------------------------------------------------------


@given(st.lists(st.integers(1, 200), min_size=1, max_size=6))
@settings(max_examples=15, deadline=None)
def test_blocks_of_any_size_give_the_same_bits(lengths):
    """A run continues from its state: tick numbers, noise, jitter, dead time and hysteresis go on as if unbroken."""
    changes = ("timing.dead_time_s=0.0023", "timing.jitter_s=0.0004", "timing.missed_share=0.05",
               "valve.hysteresis=0.05")
    ticks = sum(lengths)
    modes = np.where(np.arange(ticks) < ticks // 2, FILL, CLAMP)
    arterial = 95.0 + 20.0 * np.sin(0.007 * np.arange(ticks + 1))
    whole, end, *_ = Bench(*changes, modes=modes, ticks=ticks, arterial=arterial).run()
    bench, first, state, parts = Bench(*changes, modes=modes, ticks=ticks, arterial=arterial), 0, None, []
    for length in lengths:
        rows, state, _, _ = bench.run(first, first + length, state)
        assert state.tick == first + length
        parts.append(rows)
        first += length
    assert np.array_equal(np.concatenate(parts), whole) and str(state) == str(end)


def test_channels_are_what_they_say():
    """Each row is the state at the start of its tick."""
    bench = Bench(*QUIET, ticks=50)
    state = bench.start
    for k in range(50):
        rows, after, _, _ = bench.run(k, k + 1, state)
        row = dict(zip(CHANNELS, rows[0], strict=True))
        plant = state.plant
        assert (row["cuff_mmHg"], row["external_mmHg"]) == (plant.cuff_mmHg, plant.external_mmHg)
        assert (row["supply_mmHg"], row["venous_volume"]) == (plant.supply_mmHg, plant.venous_volume)
        assert row["node_mmHg"] == plant.line.pressures_mmHg[0] and row["arterial_mmHg"] == 95.0
        assert row["light"] == plant.photodiode and row["reading_mmHg"] == plant.reading_mmHg
        assert row["demand"] == row["proportional"] + row["integral"] + row["derivative"]
        state = after


# --- divergence ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [math.nan, math.inf, 1e7])
def test_a_run_that_diverges_stops_and_says_so(value):
    bench = Bench(ticks=100)
    broken = bench.start._replace(plant=bench.start.plant._replace(supply_mmHg=value))
    rows, state, status, done = bench.run(start=broken)
    assert status == DIVERGED and 0 < done < 100 and state.tick == done
    assert not abs(state.plant.cuff_mmHg) < CEILING_mmHg
    assert np.all(np.isfinite(rows[:done, COLUMN["cuff_mmHg"]])) and np.all(rows[done:] == 0.0)
