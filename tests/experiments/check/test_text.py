"""What is printed and written of a check, a run and a set of margins."""
import json
import math
from dataclasses import replace

import pytest

from experiments.check.check import judge_loops, worst_of
from experiments.check.text import (
    check_figures,
    check_json,
    check_lines,
    loops_json,
    margin_figures_of,
    margins_lines,
    run_json,
    run_lines,
    verdict_lines,
)
from experiments.rigs.requirements import FIGURES, Verdict
from experiments.rigs.rig import load_rig
from experiments.work.output import CAUTION, plain


def loops(*changes, at=95.0):
    return judge_loops(load_rig("wrist", list(changes)), {f"{at:g} mmHg": at})


def text(judged, rows=()):
    return "\n".join(margins_lines("wrist", judged, worst_of(judged), list(rows)))


def test_margins_and_budget(checked):
    lines = margins_lines("wrist", checked.loops, checked.worst, checked.budget)
    assert "dead time 1 ms = 1 tick)" in lines[0]
    worst = next(line for line in lines if line.endswith("< worst"))
    m = checked.worst.margins
    assert worst.startswith(checked.worst.name)
    assert f"{20 * math.log10(m.gain_margin):.1f} dB" in worst and f"{m.phase_margin_deg:.1f}°" in worst
    assert f"{m.modulus_margin:.3f}" in worst and f"{m.crossover_Hz:.1f} Hz" in worst
    assert lines[-1].endswith(f"phase margin {m.phase_margin_deg:.1f}°")
    for row in checked.budget:
        shown = f" {row.phase_deg:.1f}°".replace("-0.0°", "0.0°")
        assert any(line.strip().startswith(row.part) and line.endswith(shown) for line in lines)


def test_columns_line_up(checked):
    lines = margins_lines("wrist", checked.loops, checked.worst, [])
    heads, rows = lines[2], lines[3:9]
    for word in ("gain", "phase", "delay", "modulus", "Ms", "crossover", "bandwidth"):
        end = heads.index(word) + len(word)
        assert all(row[end : end + 1] in ("", " ") and row[end - 1] != " " for row in rows), word


def test_an_unstable_loop_says_so():
    lines = text(loops("controller.kp=0.5"))
    assert "unstable (" in lines and "UNSTABLE, closed-loop poles outside the unit circle: " in lines
    assert "nan" not in lines


def test_a_loop_without_gain_has_endless_margins():
    """No crossover, so nothing limits it; words instead of nan and inf."""
    lines = text(loops("controller.kp=0.0"))
    assert "∞ dB" in lines and "∞°" in lines and "none" in lines
    assert "nan" not in lines and "inf " not in lines


def test_a_dead_band_is_explained():
    assert "rests inside its dead band" in text(loops("valve.bleed_conductance=0.0", "cuff.leak_mL_s_mmHg=0.0"))
    assert "dead band" not in text(loops())


def test_what_could_not_be_followed_is_said(checked):
    judged = [replace(j, margins=replace(j.margins, resolved=False)) for j in checked.loops[:1]]
    assert "do not trust its margins" in text(judged)


def test_a_run(run, checked):
    lines = run_lines(checked.run, checked.tracking)
    assert "wrist on synthetic: 14.0 s, 14000 ticks of 1 ms" in lines[0] and "seed 1" in lines[0]
    low, high = (f"{end(checked.run.channels['cuff_mmHg']):.1f}" for end in (min, max))
    assert lines[1].startswith(f"cuff pressure {low} … {high} mmHg")
    assert "too little settled clamp to judge tracking" in run_lines(run, None)
    failed = replace(run, status="diverged", message="the run diverged at 2 s")
    assert run_lines(failed, None)[1] == "the run diverged at 2 s"


def test_verdicts():
    found = [Verdict("phase_margin_deg", "min", 45.0, 50.04, "°"), Verdict("rms_error_mmHg", "max", 1.0, 1.5, "mmHg"),
             Verdict("beat_systolic_error_mmHg", "sd_max", 1.0, math.nan, "mmHg"),
             Verdict("gain_margin_dB", "min", 6.0, math.inf, "dB")]
    lines = verdict_lines(found)[1:]
    assert lines[0].split()[-5:] == ["50.04", "≥", "45", "°", "pass"]
    assert lines[1].split()[-5:] == ["1.5", "≤", "1", "mmHg", "FAIL"]
    assert "systolic error by beat (sd)" in lines[2] and lines[2].split()[-5:] == ["none", "≤", "1", "mmHg", "FAIL"]
    assert "∞" in lines[3] and lines[3].endswith("pass")
    for figure, (unit, words) in FIGURES.items():
        line = verdict_lines([Verdict(figure, "min", 1.0, 2.0, unit)])[1]
        assert line.startswith(words) and unit in line


def test_the_whole_check(checked):
    lines = check_lines(checked)
    word = "PASS" if checked.passed else "FAIL"
    assert lines[-2] == f"{word}: wrist on synthetic" and lines[-1] == CAUTION
    assert all(len(line) <= 120 for line in lines[:-1])


def test_json_is_strict_and_complete(checked):
    found = json.loads(json.dumps(plain(check_json(checked)), allow_nan=False))
    assert found["passed"] is checked.passed and len(found["verdicts"]) == len(checked.verdicts)
    assert found["worst"] == checked.worst.name and len(found["margins"]) == 6
    assert found["margins"][0]["stable"] is True and found["margins"][0]["side"] == "fill"
    assert found["run"]["status"] == "done" and found["run"]["seconds"] == 14.0
    assert found["rig"] == "wrist" and found["tables"]["tube"]["kind"] == "round"
    assert found["tracking"]["ideal"]["rms_mmHg"] == checked.tracking.ideal.rms_mmHg
    assert sum(found["phase_budget"]["degrees"].values()) == pytest.approx(sum(r.phase_deg for r in checked.budget))


def test_json_of_what_could_not_be_had(run, checked):
    """A missing figure is null, never NaN; an unstable loop gives its poles."""
    missing = replace(checked, verdicts=[Verdict("rms_error_mmHg", "max", 1.0, math.nan, "mmHg")], tracking=None)
    found = json.loads(json.dumps(plain(check_json(missing)), allow_nan=False))
    assert found["verdicts"] == [{"figure": "rms_error_mmHg", "limit": "max", "allowed": 1.0, "found": None,
                                  "unit": "mmHg", "passed": False}]
    assert found["tracking"] is None and run_json(run, None)["tracking"] is None
    judged = loops("controller.kp=0.5")
    poles = plain(loops_json(judged, judged[0], []))["margins"][0]["unstable_closed_loop_poles"]
    assert len(poles) >= 2 and abs(complex(poles[0]["real"], poles[0]["imaginary"])) > 1.0


def test_figures_by_name(checked):
    assert set(check_figures(checked)) == {"margins", "budget", "tracking"}
    assert set(margin_figures_of("wrist", checked.loops, checked.worst, [])) == {"margins"}
