"""The tuning as a whole, on eight fingers."""
import math

import numpy as np
import pytest

from controller.margins.loop import loop_margins
from controller.tick.law import design
from controller.tick.parameters import Controller
from experiments.design.tune.cases import finger_loops
from experiments.design.tune.limits import margin_limits
from experiments.design.tune.study import Aims, check_options, rounded, tune
from experiments.subjects.finger import on_finger
from experiments.subjects.population import sample_fingers
from plant.errors import InputError


def test_every_finger_keeps_the_limits_by_the_margins_code_itself(tuning):
    """At every pressure and on each side, with the light slope off either way: not by the search's own word."""
    assert tuning.passed and tuning.tuned.missed <= 0.0
    rig = tuning.rig._replace(controller=tuning.tuned.found.controller)
    for case in tuning.people.cases:
        pressures = dict(zip(("mean", "low", "high"), case.pressures_mmHg, strict=True))
        for loop in finger_loops(on_finger(rig, case.finger), pressures).values():
            for off in (0.97, 1.03):
                found = loop_margins(loop._replace(light_slope=loop.light_slope / off))
                assert found.stable and found.sensitivity_peak <= 1.6 and found.delay_margin_ticks >= 2.0


def test_the_structure_with_more_terms_is_no_worse(tuning):
    plain, more = tuning.structures
    assert more.rms_mmHg < plain.rms_mmHg and tuning.tuned.name == "tuned: PI with lead"
    assert tuning.tuned.rms_mmHg <= 1.03 * more.rms_mmHg  # on the light as the tuned loop finds it


def test_rules_are_held_to_the_same(tuning):
    assert {r.name for r in tuning.scaled} <= {r.name for r in tuning.published}
    for row in tuning.scaled:
        own = next(r for r in tuning.published if r.name == row.name)
        assert row.kept and row.found.controller.kp == pytest.approx(row.factor * own.found.controller.kp, rel=1e-4)
        assert row.found.controller.ti_s == pytest.approx(own.found.controller.ti_s, rel=1e-4)
        if own.kept:
            assert row.rms_mmHg <= own.rms_mmHg * 1.001
    assert tuning.best_rule.rms_mmHg == min(r.rms_mmHg for r in tuning.scaled)


def test_a_scaled_rule_could_not_be_raised(tuning):
    """At its factor the best rule is at a limit: a hundredth more gain breaks it, or tracks worse."""
    from experiments.design.tune.verdict import evaluate

    best = tuning.best_rule
    more = best.found.controller._replace(kp=1.01 * best.found.controller.kp)
    found = evaluate(tuning.people, more, tuning.limits, 1e-3)
    assert np.max(found.finger_shortfall) > 0.0 or np.max(found.rms_mmHg) > best.rms_mmHg


def test_it_is_well_below_the_best_rule_and_above_the_limit(tuning):
    assert tuning.tuned.rms_mmHg < 0.7 * tuning.best_rule.rms_mmHg
    assert tuning.limit.rms_mmHg < tuning.tuned.rms_mmHg


def test_the_trade_off_falls_and_stays_above_the_limit(tuning):
    tight, loose = tuning.trade_off
    assert (tight.largest_peak, loose.largest_peak) == (1.5, 1.6)
    assert tight.tuned_mmHg > loose.tuned_mmHg == pytest.approx(tuning.tuned.rms_mmHg)
    assert all(p.limit_mmHg < p.tuned_mmHg for p in tuning.trade_off)


def test_a_second_run_gives_the_same_bits(tuning, wrist):
    again = tune(wrist, sample_fingers(8), Aims(margin_limits({}), structures=("PI", "PI with lead"), peaks=(1.5, 1.6)))
    assert again.tuned.found.controller == tuning.tuned.found.controller
    assert np.array_equal(again.tuned.found.rms_mmHg, tuning.tuned.found.rms_mmHg)
    assert again.trade_off == tuning.trade_off and again.limit.rms_mmHg == tuning.limit.rms_mmHg


def test_leaving_the_hardest_behind_tracks_better(tuning, wrist):
    """Of eight fingers, three quarters: the two with the largest errors need not count."""
    found = tune(wrist, sample_fingers(8), Aims(margin_limits({}), 75.0, structures=("PI",), peaks=()))
    assert found.passed and found.tuned.rms_mmHg < tuning.structures[0].rms_mmHg
    assert np.sum(found.tuned.found.rms_mmHg <= found.tuned.rms_mmHg) >= 6


def test_settings_are_as_they_are_written():
    short = rounded(Controller(kp=0.0123456789, ti_s=1.0 / 3.0))
    assert (short.kp, short.ti_s) == (0.012346, 0.33333) and short.method == "tustin" and short.output_bits == 16
    design(short, 1e-3)


@pytest.mark.parametrize(("options", "says"), [
    ((0, 100.0, 0.03), "--fingers 0 must be from 1 to 100000"),
    ((5, 101.0, 0.03), "--percentile 101 must be from 50 to 100"),
    ((5, math.nan, 0.03), "--percentile nan"),
    ((5, 100.0, 0.5), "--slope-error 0.5 must be from 0 to 0.3"),
])
def test_options_out_of_range_are_refused(options, says):
    with pytest.raises(InputError) as refusal:
        check_options(*options)
    assert says in str(refusal.value)
