"""What is printed of a sweep, and its JSON."""
import json

import pytest

from experiments.design.sweep import text as sweep_report
from experiments.design.sweep.text import study_json, study_lines
from experiments.design.sweep.verdict import best, limits_of, settings_of
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.work.output import plain

LIMITS = load_requirements(default_requirements("wrist"))


def lines(found, limits=LIMITS):
    return study_lines(found, limits_of(found, limits), ["wrist"])


def test_a_long_sweep_shows_the_present_and_the_best(gains):
    said = lines(gains)
    assert said[0] == "sweep of wrist: 8 controller.kp × 7 controller.td_s"
    rows = {line[:9].strip(): line for line in said if line}
    assert "as it is" in rows and "best" in rows
    at = best(gains, limits_of(gains, LIMITS))
    assert any(" ".join(settings_of(gains, at)) in line for line in said)
    assert f"{gains.worst('phase_margin_deg')[at]:.3g}" in rows["best"]
    assert any(line.startswith("unstable at ") for line in said)


def test_a_short_one_shows_every_point(people):
    said = lines(people)
    assert said[0].endswith("worst of 3 fingers at each")
    for word in ("0.012", "0.0218", "0.2"):
        assert sum(line.startswith(word + " ") for line in said) == 1
    assert "unstable" in next(line for line in said if line.startswith("0.2 "))
    assert said[-1].startswith("    cuffloop sweep wrist controller.kp=") and " --finger mixed-1-" in said[-1]
    assert any("worst figures" in line for line in said) and any("  misses " in line for line in said)


def test_nothing_keeps_what_cannot_be_kept(gains):
    said = lines(gains, {"phase_margin_deg": {"min": 89.0}})
    assert "at 0 of 56 points the rig keeps phase_margin_deg ≥ 89" in said
    assert not any(line.startswith("best") for line in said)


def test_reasons_and_left_out(gains):
    said = lines(gains._replace(reasons=dict.fromkeys("abcd", 2), left_out=("mixed-1-0007", "mixed-1-0009")))
    assert "not to be had 2 times: a" in said and "and for 1 more reasons" in said
    assert "left out, as nowhere to be had: finger mixed-1-0007 and 1 more" in said


@pytest.mark.parametrize("most", [10, 20_000])
def test_json(gains, people, monkeypatch, most):
    monkeypatch.setattr(sweep_report, "MOST_VALUES", most)
    for found in (gains, people):
        document = json.loads(json.dumps(plain(study_json(found, limits_of(found, LIMITS), ["wrist"]))))
        assert document["axes"]["controller.kp"]["unit"] == "1/mmHg" and document["simulated"] == found.case.simulated
        assert ("worst" in document) == (len(found.points) <= most)
        if "worst" in document:
            assert len(document["worst"]["phase_margin_deg"]) == len(document["points"]) == len(found.points)
            assert ("worst_finger" in document) == bool(found.fingers)
