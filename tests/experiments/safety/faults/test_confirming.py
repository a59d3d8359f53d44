"""The confirmation in a run of failures: its probe on the orders, a wrong set point found on either side."""
import functools

import numpy as np
import pytest

from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.confirming import COLUMN, Confirming
from experiments.safety.faults.fault import AT_START
from experiments.safety.faults.trial import Bench, Times, make_bench
from experiments.simulation.protected import FAULT_CHANNELS
from experiments.subjects.population import sample_fingers
from tests.experiments.safety.faults.fault_bench import bench

ASTRAY = CATALOGUE["search_astray"]
RIGHT = ASTRAY._replace(severity=0.0)


@functools.cache
def long_bench(name: str) -> Bench:
    people = sample_fingers(2)
    return make_bench(load_rig(name), people[0], people[1], times=Times(fill_s=12.0, settle_s=4.0, after_s=10.0))


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
@pytest.mark.parametrize("severity", [0.8, 1.0, -0.8, -1.0])
def test_a_set_point_that_is_off_is_denied_after_ten_seconds_of_clamp(name: str, severity: float) -> None:
    """12 and 15 mmHg, either way; clamps that run away from so low a pressure are met sooner by others."""
    outcome, _ = long_bench(name).run(ASTRAY._replace(severity=severity))
    denied = outcome.acted["confirmation"]
    assert outcome.caught_by
    assert denied < 0.0 or denied == pytest.approx(10.6, abs=0.01)
    assert denied > 0.0 or outcome.caught_by in ("relief", "pressure_switch", "pressure_limit")


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_a_set_point_that_is_right_is_not(name: str) -> None:
    outcome, rows = long_bench(name).run(RIGHT, trace=True)
    assert outcome.acted["confirmation"] < 0.0 and not np.any(rows[:, COLUMN["fallback"]])


def test_taken_away_it_changes_nothing_but_its_own_verdict() -> None:
    here = long_bench("wrist")
    with_it, rows = here.run(ASTRAY._replace(severity=0.8), trace=True)
    without, others = here.run(ASTRAY._replace(severity=0.8), lost=("confirmation",), trace=True)
    last = round((12.0 + 10.6) / 0.001)
    assert np.array_equal(rows[:last], others[:last])
    assert with_it.acted["confirmation"] > 0.0 > without.acted["confirmation"]


def test_the_probe_is_on_the_set_point_for_ten_seconds_and_nowhere_else() -> None:
    here = long_bench("wrist")
    confirming = Confirming.of(here.orders, here.instrument)
    probed = confirming.probed(here.orders)
    moved = (probed.set_point - here.orders.set_point) / here.orders.light_slope
    assert (confirming.end - confirming.first) * 0.001 == pytest.approx(10.0)
    assert not np.any(moved[: confirming.first]) and not np.any(moved[confirming.end :])
    part = confirming.part.probe
    assert np.max(np.abs(moved)) == pytest.approx(part.sweep_mmHg + part.tone_mmHg, rel=0.02)
    assert np.array_equal(probed.mode, here.orders.mode)


def test_a_run_too_short_for_a_confirmation_has_no_probe() -> None:
    short = bench("wrist")
    assert RIGHT.onset == AT_START and short.run(RIGHT)[0].acted["confirmation"] < 0.0
    assert Confirming.of(short.orders, short.instrument).end > len(short.orders.mode) - 2000


def test_what_protection_has_taken_out_of_the_clamp_needs_no_verdict() -> None:
    here = long_bench("wrist")
    confirming = Confirming.of(here.orders, here.instrument)
    rows = np.zeros((confirming.end - confirming.first, len(FAULT_CHANNELS)))
    assert confirming.denied(rows)  # no light, no slope
    rows[-1, COLUMN["fallback"]] = 1.0
    assert not confirming.denied(rows)
