"""`cuffloop require` as a whole."""
import json


def test_a_missed_limit_is_status_one(cuffloop, refusal):
    said = cuffloop("require", "wrist", "--output", 5, "--systolic", 2, "--variation", 0.5)
    assert said.status == 1 and "≥ 10.4" in said.out and "MISSED" in said.out
    loose = cuffloop("require", "cabinet", "--systolic", 30, "--json")
    assert loose.status == 0 and json.loads(loose.out)["passed"] is True
    assert "no limit on a reading" in refusal("require", "wrist")
    assert "--output 0" in refusal("require", "wrist", "--output", 0)
