"""What is said about word lengths."""
import json

from experiments.design.rounding.text import rounding_json, rounding_lines
from experiments.work.output import plain
from tests.experiments.design.rounding.helper import wrist


def test_the_recommendation_comes_first_with_its_reasons():
    found, lines = wrist(), rounding_lines(wrist())
    assert lines[2].startswith(f"take {found.recommended} bits")
    assert lines[3].strip() == found.reasons[0]
    rows = [line for line in lines if line[:4].strip().isdigit() and " bits" not in line]
    assert [int(row[:4]) for row in rows] == [8, 12, 16, 24, 32]
    assert any("exposure.memory_s (60 s)" in line for line in lines)


def test_plain_data_holds_every_length():
    document = json.loads(json.dumps(plain(rounding_json(wrist()))))
    assert [one["bits"] for one in document["lengths"]] == [8, 12, 16, 24, 32]
    one = document["lengths"][2]
    assert one["added_mmHg"] == wrist().length(16).added_mmHg
    assert one["formats"]["words"] == 16 and max(one["sum_bits"].values()) <= 63
    assert set(document["ranges"]) == {"error_mmHg", "lead_mmHg", "notch_mmHg", "rate", "demand"}
