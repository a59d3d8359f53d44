import json

from experiments.readings.limits.text import passed, require_json, require_lines
from experiments.work.output import CAUTION, plain
from tests.experiments.readings.limits.required import one_answer


def test_lines() -> None:
    lines = require_lines(one_answer())
    text = "\n".join(lines)
    for word in ("≥ 10.4", "MISSED", "kept", "windows of 20 s", "bandwidth of a first-order loop", CAUTION):
        assert word in text
    assert max(len(line) for line in lines[:-1]) <= 120
    assert not passed(one_answer())


def test_plain_data() -> None:
    told = json.loads(json.dumps(plain(require_json(one_answer()))))
    assert told["rig"] == "wrist" and len(told["needed"]) == 3 and told["worth"][0]["kept"] is False
