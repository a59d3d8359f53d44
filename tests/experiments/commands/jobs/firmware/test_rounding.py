"""`cuffloop rounding` as a whole."""
import json

import pytest

SHORT = ("--record", "synthetic", "--seconds", 10)


def test_files_and_lines(tmp_path, cuffloop):
    out = tmp_path / "out"
    said = cuffloop("rounding", *SHORT, "--words", "12,16,24,32", "--out", out)
    assert said.status == 0 and said.err == "" and "\ntake " in said.out
    assert sorted(p.name for p in out.iterdir()) == ["rounding.json", "rounding.png"]


def test_no_length_is_long_enough(cuffloop):
    said = cuffloop("rounding", *SHORT, "--words", "8", "--json")
    assert said.status == 1
    document = json.loads(said.out)
    assert document["recommended_bits"] is None and document["reasons"][0].startswith("8 bits: adds")


@pytest.mark.parametrize(("arguments", "words"), [
    (("--words", "6:12"), ("--words 6:12", "from 8 to 32")), (("--words", "x"), ("--words x",)),
    (("--range", "0.5"), ("--range 0.5", "1 to 1024")),
    (("--set", "controller.kp=0.5"), ("no word length can be judged",)),
])
def test_bad_input(refusal, arguments, words):
    said = refusal("rounding", *SHORT, *arguments)
    assert all(word in said for word in words)
