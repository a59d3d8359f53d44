"""What a page knows before it asks."""
import json

from experiments.bench.words import known, rig_words
from experiments.work.output import CAUTION
from tests.experiments.bench.helper import SETUP


def test_rigs_with_their_knobs_the_record_and_the_caution():
    found = known(SETUP)
    assert [rig["name"] for rig in found["rigs"]] == ["wrist", "cabinet"]
    assert found["caution"] == CAUTION and found["record"] == "synthetic"
    knob = next(k for k in rig_words(SETUP, "wrist")["knobs"] if k["key"] == "controller.kp")
    assert knob["value"] == 0.0218 and knob["meaning"] and knob["source"] and knob["unit"] == "1/mmHg"
    assert len(json.dumps(found)) < 500_000
