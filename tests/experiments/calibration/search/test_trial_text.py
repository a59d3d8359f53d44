"""What one search says to people and programs."""
import json

from experiments.calibration.search.staircase import step_rows
from experiments.calibration.search.trial_text import outcome_lines, search_json, search_lines
from experiments.work.output import plain


def test_everything_a_student_needs_is_on_the_screen(trials):
    text = "\n".join(search_lines(trials["probing"]))
    for words in ("mixed-1-0011", "mixed group, 130/73 mmHg", "pulsation", "used: in the fit", "look (",
                  "set point found after", "first waveform shown after", "90 % interval", "truth",
                  "not a medical device"):
        assert words in text
    calibration = trials["probing"].calibration
    assert f"{calibration.error_mmHg:+.2f}" in text and f"± {calibration.outcome.interval_mmHg:.2f}" in text
    assert all(len(line) <= 140 for line in search_lines(trials["probing"]))
    assert len(search_lines(trials["classroom"])) > len(step_rows(trials["classroom"])) + 10


def test_an_interval_that_misses_says_so(trials):
    trial = trials["probing"]
    sure = trial.calibration.outcome._replace(sd_mmHg=1e-6)
    other = type(trial.calibration)(sure, *list(vars(trial.calibration).values())[1:])
    lines = outcome_lines(type(trial)(**{**vars(trial), "calibration": other}))
    assert any("OUTSIDE" in line for line in lines)
    assert not any("OUTSIDE" in line for line in outcome_lines(trial))


def test_a_failure_says_what_was_seen_and_what_to_do(trials):
    lines = search_lines(trials["loose cuff"])
    text = "\n".join(lines)
    assert "NO SET POINT after 2.0 s: cuff too loose" in text
    assert "seen: the bladder takes much more air than a well-wrapped one (first fill" in text
    assert "what to do: wrap the cuff again, or take a smaller one" in text
    assert "truth: unloaded at" in text
    assert "truth" not in "\n".join(search_lines(trials["no pulse"]))  # there is no unloading what does not pulse


def test_json(trials):
    found = json.loads(json.dumps(plain(search_json(trials["waveform"])), allow_nan=False))
    assert found["found"] is True and found["inside_interval"] is True and found["strategy"] == "waveform"
    assert found["outcome"]["interval_90_mmHg"] == trials["waveform"].calibration.outcome.interval_mmHg
    assert len(found["steps"]) == len(step_rows(trials["waveform"])) and found["substeps"] == 5
    assert found["truth"]["transmural_mmHg"] - found["truth"]["unloaded_mmHg"] - found["error_mmHg"] < 1e-3
    failed = search_json(trials["no pulse"])
    assert failed["found"] is False and failed["outcome"]["reason"] == "no pulse" and failed["inside_interval"] is None
    assert "try another" in failed["outcome"]["message"]
