"""`cuffloop readings` as a whole."""
import json


def test_json_and_refusals(cuffloop, refusal):
    said = cuffloop("readings", "wrist", "--record", "person:45f", "--seconds", 14, "--estimator", "shape", "--json")
    document = json.loads(said.out)
    assert said.status == 0 and document["estimator"] == "shape" and document["readings"]["output"]["truth"] > 2.0
    assert "12 to 86400 s" in refusal("readings", "--record", "person:45f", "--seconds", 3)
    assert "--sex q" in refusal("readings", "--record", "synthetic", "--seconds", 12, "--sex", "q")
