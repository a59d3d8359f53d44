"""Derivatives and steps: against the margins of rigs that a person changes by hand."""
import math

import pytest

from experiments.check.check import judge_loops
from experiments.design.budget.sensitivity import budget, changed_rig, worse_side
from experiments.rigs.rig import load_rig, read_rig
from experiments.subjects.bands import usual_bands
from plant.errors import InputError

BANDS = usual_bands(1e-3)


@pytest.fixture(scope="module")
def wrist_budget():
    return budget(read_rig("wrist"), 90.0, BANDS)


def by_hand(table_key, value, side, name="wrist"):
    return next(j.margins for j in judge_loops(load_rig(name, [f"{table_key}={value!r}"]), {"a": 90.0})
                if j.loop.side == side)


@pytest.mark.parametrize("key", ["controller.kp", "controller.td_s", "tissue.lag_s", "timing.dead_time_s",
                                 "light.bandwidth_Hz", "tube.diameter_mm"])
def test_derivatives_against_central_differences_of_margins(wrist_budget, key):
    """Half the step, through settings, margins and back: the same slope to half a percent."""
    effect = next(e for e in wrist_budget.effects if e.name == key)
    reach = 1e-3 * effect.present
    high, low = (by_hand(key, effect.present + sign * reach, wrist_budget.side) for sign in (1, -1))
    for name in ("phase_margin_deg", "delay_margin_ticks", "sensitivity_peak"):
        slope = (getattr(high, name) - getattr(low, name)) / (2.0 * reach)
        assert getattr(effect.slope, name) == pytest.approx(slope, rel=5e-3, abs=1e-6), name


def test_steps_are_taken_for_real(wrist_budget):
    """Ten centimetres of tube: what `margins --set tube.length_m=0.15` says, the worse side of each figure."""
    effect = next(e for e in wrist_budget.effects if e.name == "tube.length_m")
    longer = [j.margins for j in judge_loops(load_rig("wrist", [f"tube.length_m={effect.value!r}"]), {"a": 90.0})]
    assert effect.effect.phase_margin_deg == pytest.approx(
        min(m.phase_margin_deg for m in longer) - wrist_budget.present.phase_margin_deg, rel=1e-9)
    assert effect.effect.sensitivity_peak == pytest.approx(
        max(m.sensitivity_peak for m in longer) - wrist_budget.present.sensitivity_peak, rel=1e-9)


def test_the_firmware_is_not_told(wrist_budget):
    """A larger valve raises the loop gain as ten percent more gain does; a told inverse would undo it."""
    effects = {e.name: e.effect for e in wrist_budget.effects}
    assert effects["valve.conductance"].phase_margin_deg == pytest.approx(
        effects["controller.kp"].phase_margin_deg, abs=0.1)
    source = read_rig("wrist")
    assert changed_rig(source, "valve.conductance", 0.05).stage == source.rig().stage
    assert changed_rig(source, "actuator.conductance", 0.05).stage.conductance == 0.05


def test_every_number_of_the_loop_is_there(wrist_budget):
    names = [e.name for e in wrist_budget.effects]
    assert len(names) == len(set(names)) and not any(n.startswith("filling.") for n in names)
    assert {"cuff.volume_mL", "light.bits", "controller.notch_Hz", "tone.level"} <= set(names)
    absent = next(e for e in wrist_budget.effects if e.name == "controller.notch_Hz")
    assert absent.effect is None and absent.slope is None and absent.note.startswith("no step")
    tick = next(e for e in wrist_budget.effects if e.name == "timing.period_s")
    assert tick.effect is None and "half the tick rate" in tick.note


def test_a_step_into_instability_is_said():
    found = budget(read_rig("wrist", ["controller.kp=0.055"]), 90.0, BANDS)
    effect = next(e for e in found.effects if e.name == "controller.kp")
    assert effect.unstable and math.isnan(effect.effect.phase_margin_deg)


def test_an_unstable_rig_is_refused():
    with pytest.raises(InputError, match=r"unstable at 90 mmHg .*lower controller\.kp"):
        worse_side(load_rig("wrist", ["controller.kp=0.08"]), 90.0, BANDS)
