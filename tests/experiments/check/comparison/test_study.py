"""What rigs are called side by side, and in what they differ."""
from experiments.check.comparison.study import differences, names_of
from experiments.rigs.rig import load_rig


def test_names_are_all_different():
    wrist, cabinet = load_rig("wrist"), load_rig("cabinet")
    slow = load_rig("wrist", ["controller.kp=0.005"])
    assert names_of([wrist, cabinet]) == ["wrist", "cabinet"]
    assert names_of([wrist, slow, cabinet]) == ["wrist", "wrist controller.kp=0.005", "cabinet"]
    assert names_of([wrist, wrist]) == ["wrist (1)", "wrist (2)"]


def test_only_what_differs():
    wrist = load_rig("wrist")
    assert differences([wrist, wrist]) == []
    found = differences([wrist, load_rig("wrist", ["controller.kp=0.005"]), wrist])
    assert [(row.name, row.unit, row.values) for row in found] == [
        ("controller.kp", "1/mmHg", (wrist.controller.kp, 0.005, wrist.controller.kp))]


def test_parts_of_another_kind_have_parameters_of_their_own():
    found = {row.name: row.values for row in differences([load_rig("wrist"), load_rig("wrist", ["tube.kind=none"])])}
    assert found["tube.kind"] == ("round", "none") and found["tube.length_m"][1] is None
    assert next(iter(found)) == "tube.kind"
