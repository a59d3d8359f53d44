"""The tuning as a whole, on eight fingers."""
import math

import numpy as np
import pytest

from controller.margins.corrected import Correction
from controller.margins.loop import loop_margins
from controller.margins.many_settings import rows_of, survey_settings
from controller.tick.law import design
from controller.tick.parameters import Controller
from experiments.design.tune.cases import finger_case, finger_loops
from experiments.design.tune.limits import margin_limits
from experiments.design.tune.study import Aims, check_options, rounded, tune
from experiments.design.tune.text import tuned_rig_text, tuning_json, tuning_lines
from experiments.rigs.rig import load_rig, read_rig
from experiments.rigs.uncertain import drawn_rigs
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


@pytest.mark.slow
def test_a_second_run_gives_the_same_bits(tuning, wrist):
    again = tune(wrist, sample_fingers(8), Aims(margin_limits({}), structures=("PI", "PI with lead"), peaks=(1.5, 1.6)))
    assert again.tuned.found.controller == tuning.tuned.found.controller
    assert np.array_equal(again.tuned.found.rms_mmHg, tuning.tuned.found.rms_mmHg)
    assert again.trade_off == tuning.trade_off and again.limit.rms_mmHg == tuning.limit.rms_mmHg


@pytest.mark.slow
def test_leaving_the_hardest_behind_tracks_better(tuning, wrist):
    """Of eight fingers, three quarters: the two with the largest errors need not count."""
    found = tune(wrist, sample_fingers(8), Aims(margin_limits({}), 75.0, structures=("PI",), peaks=()))
    assert found.passed and found.tuned.rms_mmHg < tuning.structures[0].rms_mmHg
    assert np.sum(found.tuned.found.rms_mmHg <= found.tuned.rms_mmHg) >= 6


@pytest.fixture(scope="module")
def within(tmp_path_factory):
    """A small tuning of a wrist whose valve and dead time a bench left open, each finger on its own; and its rig."""
    path = tmp_path_factory.mktemp("open") / "open.toml"
    path.write_text('base = "wrist"\n[spread]\n"valve.natural_frequency_Hz" = 30.0\n"timing.dead_time_s" = 2e-4\n')
    source = read_rig(str(path))
    plants = tuple(drawn_rigs(source, source.rig(), 4, 1))
    aims = Aims(margin_limits({}), structures=("PI",), peaks=(), simulated=2, plants=plants)
    return tune(source.rig(), sample_fingers(4), aims), plants


def test_limits_are_kept_on_whatever_rig_a_bench_left_possible(within):
    """Each finger's loops, margins and run are those of its own rig; the rig as it is is another column."""
    found, plants = within
    assert found.passed and [case.rig.plant for case in found.people.cases] == [one.plant for one in plants]
    assert all(case.rig.stage == found.rig.stage for case in found.people.cases)
    peaks = found.tuned.found.margins["sensitivity_peak"]
    own = finger_case(plants[2]._replace(controller=found.tuned.found.controller), found.people.cases[2].finger)
    rows = rows_of([design(found.tuned.found.controller, 1e-3)], found.people.gains)
    least = min(float(np.min(survey_settings(loop, rows).modulus)) for loop in own.loops)
    assert 1.0 / least == pytest.approx(peaks[2], rel=1e-3)
    assert np.all(found.as_it_is.found.margins["sensitivity_peak"] != peaks)


@pytest.mark.slow
def test_on_a_measured_response():
    """A response that is half a tick later than the twin, nothing else: margins are those of a plant with that much
    more dead time, and it cannot be followed as well. The margins' search is compiled anew: minutes."""
    rig = load_rig("cabinet")
    lines = np.geomspace(2.0, 3000.0, 200)
    late = Correction(lines, np.zeros(200), -5e-4 * lines)
    aims = Aims(margin_limits({}), structures=("PI",), peaks=(), simulated=2)
    found = tune(rig, sample_fingers(3), aims._replace(measured=(late, late)))
    assert found.on_response and found.tuned.kept and found.as_it_is.missed == pytest.approx(found.tuned.missed)
    assert "on measured data in place of the twin" in "\n".join(tuning_lines(found))
    later = rig._replace(timing=rig.timing._replace(dead_time_s=rig.timing.dead_time_s + 5e-4),
                         controller=found.tuned.found.controller)
    rows = rows_of([design(later.controller, 1e-3)], found.people.gains)
    for case, peak in zip(found.people.cases, found.tuned.found.margins["sensitivity_peak"], strict=True):
        loops = finger_case(later, case.finger).loops
        least = min(float(np.min(survey_settings(loop, rows).modulus)) for loop in loops)
        assert 1.0 / least == pytest.approx(peak, rel=0.02)
    plain = tune(rig, sample_fingers(3), aims)
    assert plain.tuned.rms_mmHg < found.tuned.rms_mmHg


def test_what_is_told_of_it(within):
    """The table names the draws and both shares; the file that is written keeps `[spread]`."""
    found, _ = within
    text = "\n".join(tuning_lines(found))
    assert "drawn within [spread] (2 numbers" in text and "of 4; on the rig as it is on" in text
    document = tuning_json(found)
    assert document["drawn_within"] == ["valve.natural_frequency_Hz", "timing.dead_time_s"]
    assert document["as_it_is"]["name"] == "on the rig as it is"
    assert '"timing.dead_time_s" = 0.0002' in tuned_rig_text(found)


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
