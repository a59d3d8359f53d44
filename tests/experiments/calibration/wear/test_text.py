"""A plan of wear in lines and as plain data."""
from calibrate.wear import WearLimits, WearPlan, wear_account
from experiments.calibration.wear.text import wear_json, wear_lines


def test_two_fingers_in_turns():
    plan = WearPlan(12.0, 2, 60.0, 0.0)
    accounts = wear_account(plan, 90.0)
    lines = wear_lines(plan, 90.0, accounts, [])
    assert lines[0].endswith("accepted") and "two fingers in turns of 60 min" in lines[0]
    assert "6 h" in lines[2] and "540 mmHg·h" in lines[2]
    document = wear_json(plan, 90.0, WearLimits(7.0), accounts, ["too long"])
    assert document["accepted"] is False and document["limits"]["one_finger_h"] == 7.0
    assert document["fingers"][1]["load_mmHg_h"] == 540.0


def test_reasons_stand_below_the_verdict():
    plan = WearPlan(12.0, 1)
    lines = wear_lines(plan, 90.0, wear_account(plan, 90.0), ["too long"])
    assert "one finger" in lines[0] and lines[0].endswith("refused") and lines[1] == "  too long"
    assert "none" in lines[3]  # no rest between turns, as there is one only
