"""What is read of a tuning."""
import json
import math
from dataclasses import replace

import numpy as np
import pytest

from controller.tick.parameters import Controller
from experiments.design.tune.text import settings_text, tuned_rig_text, tuning_json, tuning_lines, worst_margin
from experiments.rigs.rig import load_rig
from experiments.work.output import plain


def test_the_table_names_every_setting_once(tuning):
    text = "\n".join(tuning_lines(tuning))
    for words in ("tuned: PI with lead", "as shipped", "Ziegler–Nichols PID", "SIMC PI", "AMIGO PI", "plain lead",
                  "against the best classical rule", "limit of any linear controller", "nonlinear simulation",
                  "sensitivity peak Ms ≤ 1.6, delay margin ≥ 2 ticks", "± 9.3 % (95 % of searches",
                  "not a medical device"):
        assert words in text, words
    assert max(map(len, text.splitlines())) < 160


def test_a_slope_error_of_one_s_own_is_not_the_search_s(tuning):
    asked = "\n".join(tuning_lines(replace(tuning, slope_error=0.1)))
    assert "± 10 % (as asked for)" in asked and "95 % of searches" not in asked


def test_what_is_missed_is_named(tuning):
    row = next(line for line in tuning_lines(tuning) if line.startswith("as shipped"))
    assert "MISSES Ms" in row


def test_margins_are_the_worst_or_those_at_the_percentile(tuning):
    peaks = np.sort(tuning.tuned.found.margins["sensitivity_peak"])
    assert worst_margin(tuning, tuning.tuned, "sensitivity_peak") == peaks[-1]
    most = replace(tuning, percentile=75.0)
    assert worst_margin(most, tuning.tuned, "sensitivity_peak") == peaks[-3]
    delays = np.sort(tuning.tuned.found.margins["delay_margin_ticks"])
    assert worst_margin(most, tuning.tuned, "delay_margin_ticks") == delays[2]


def test_json_holds_the_figures(tuning):
    found = json.loads(json.dumps(plain(tuning_json(tuning))))
    assert found["passed"] is True and found["fingers"] == 8
    assert found["tuned"]["settings"]["kp"] == tuning.tuned.found.controller.kp
    assert found["below_best_rule"] == pytest.approx(1.0 - tuning.tuned.rms_mmHg / tuning.best_rule.rms_mmHg)
    assert found["above_limit"] == pytest.approx(tuning.tuned.rms_mmHg / tuning.limit.rms_mmHg - 1.0)
    assert len(found["trade_off"]) == 2 and found["limit"]["finger"] == tuning.limit.finger


def test_the_rig_file_is_the_rig_with_its_new_controller(tuning, tmp_path, wrist):
    path = tmp_path / "tuned.toml"
    path.write_text(tuned_rig_text(tuning), encoding="utf-8")
    found = load_rig(str(path))
    assert found.controller == tuning.tuned.found.controller and found.name == "wrist_tuned"
    assert (found.plant, found.timing, found.stage) == (wrist.plant, wrist.timing, wrist.stage)


@pytest.mark.parametrize(("controller", "says"), [
    (Controller(kp=0.01), "Kp 0.01"),
    (Controller(kp=0.01, ti_s=0.02, td_s=0.001, filter_ratio=8), "Kp 0.01, Ti 20 ms, Td 1 ms, N 8"),
    (Controller(kp=0.01, lead_zero_Hz=20, lead_pole_Hz=200), "Kp 0.01, lead 20/200 Hz"),
    (Controller(kp=0.01, lead_zero_Hz=200, lead_pole_Hz=20), "Kp 0.01, lag 200/20 Hz"),
    (Controller(kp=0.01, notch_Hz=95, notch_width_Hz=40), "Kp 0.01, notch 95 Hz, 40 wide, 20 dB"),
    (Controller(form="parallel", kp=0.01, ki=0.5, kd=0.001), "Kp 0.01, Ki 0.5, Kd 0.001"),
])
def test_settings_in_one_line(controller, says):
    assert settings_text(controller) == says


def test_nothing_found_is_said(tuning):
    failed = replace(tuning, tuned=tuning.tuned._replace(missed=0.5), confirmations=())
    text = "\n".join(tuning_lines(failed))
    assert "NO SETTINGS FOUND" in text and "nonlinear simulation" not in text
    assert tuning_json(failed)["above_limit"] is None and not failed.passed
    assert math.isfinite(failed.limit.rms_mmHg)
