"""Table and JSON of a study."""
import json

import pytest

from experiments.calibration.search.piece import FOUND, Plan
from experiments.calibration.search.study import run_study
from experiments.calibration.search.summary import summary_of
from experiments.calibration.search.text import study_json, study_lines
from experiments.work.output import plain

PLAN = Plan("wrist", (), ("classroom", "arctangent"), "mixed", 1, 5, 1, 5)


@pytest.fixture(scope="module")
def study():
    return run_study(PLAN)


def test_the_table(study):
    lines = study_lines(study)
    text = "\n".join(lines)
    found = summary_of(study.rows, "arctangent")
    line = next(line for line in lines if line.startswith("arctangent"))
    assert f"{found.median_mmHg:.2f}" in line and f"{found.largest_mmHg:.2f}" in line
    assert f"cuffloop search wrist --finger {found.worst} --strategy arctangent" in text
    assert "5 fingers (group mixed, seed 1) and 1 of each spoiled kind" in text
    for words in ("0 of 5", "1 of 1", "no pulse", "loose cuff", "middle finger", "slope found by classroom", "true"):
        assert words in text
    assert all(len(line) <= 140 for line in lines)


def test_the_worst_finger_can_be_run_again(study, cuffloop):
    """The line of the table, typed in, gives the error that stands before it."""
    for strategy in PLAN.strategies:
        line = next(x for x in study_lines(study) if "cuffloop search" in x and x.endswith(strategy))
        error, command = line.strip().split(" mmHg  cuffloop ")
        said = cuffloop(*command.split(), "--json")
        assert abs(json.loads(said.out)["error_mmHg"]) == pytest.approx(float(error), abs=0.005)


def test_settings_and_steps_are_repeated_in_the_command(study):
    plan = PLAN._replace(settings=("tube.length_m=0.1",), substeps=7)
    assert "--substeps 7 --set tube.length_m=0.1" in "\n".join(study_lines(study._replace(plan=plan)))


def test_failures_are_named(study):
    lost = [r._replace(outcome="timed out") if r.finger == "mixed-1-0002" else r for r in study.rows]
    missed = [r._replace(outcome=FOUND) if r.defect == "loose_cuff" else r for r in lost]
    text = "\n".join(study_lines(study._replace(rows=missed)))
    assert "timed out on mixed-1-0002" in text and "1 of 5" in text and "0 of 1" in text


def test_without_spoiled_fingers_and_with_one_finger():
    plan = PLAN._replace(fingers=1, spoiled=0)
    few = run_study(plan)
    text = "\n".join(study_lines(few))
    assert "no pulse" not in text and "0 of 1" in text and "nan" not in text
    json.dumps(plain(study_json(few)), allow_nan=False)


def test_json(study):
    found = json.loads(json.dumps(plain(study_json(study)), allow_nan=False))
    assert found["plan"]["fingers"] == 5 and [s["strategy"] for s in found["strategies"]] == list(PLAN.strategies)
    assert found["strategies"][1]["caught_share"] == {"no_pulse": 1.0, "light_saturated": 1.0, "loose_cuff": 1.0}
    assert "by_sd_of_log" in found["strategies"][0]["crossover_narrower"]["one slope, the middle finger's"]
    assert found["crossovers"]["true slope"]["loops"] == 5
