import json

from experiments.readings.agreement.tables import read_measured
from experiments.readings.chain.text import ESTIMATE, beat_rows, readings_json, readings_lines, unit_of, write_beats
from experiments.work.output import CAUTION, plain
from tests.experiments.readings.chain.one_reading import one_reading


def test_lines_tell_intervals_truth_constant_and_caution() -> None:
    found, truth = one_reading()
    lines = readings_lines(found, truth, "a clamp")
    text = "\n".join(lines)
    for word in ("90 % interval", "truth", "null: a constant", "unloaded volume p0", "resistance", ESTIMATE[0],
                 CAUTION):
        assert word in text
    assert max(len(line) for line in lines[:-1]) <= 120
    assert "truth" not in "\n".join(readings_lines(found, None, "a clamp"))
    gap = "\n".join(readings_lines(*one_reading(True), "a clamp"))
    assert "search under way 1" in gap and "NOT VALID: an interruption" in gap


def test_the_table_by_beat_can_be_held_against_another(tmp_path) -> None:
    found, _ = one_reading(True)
    rows = beat_rows(found, "a")
    assert len(rows) == len(found.beats.onset_s) + 1 and any("search under way" in row for row in rows)
    write_beats(tmp_path / "beats.csv", found, "a")
    read = read_measured(tmp_path / "beats.csv", "output_L_min")
    assert len(read.values) < len(rows) - 1 and read.time_s is not None and 2.0 < read.values[0] < 8.0


def test_plain_data() -> None:
    told = json.loads(json.dumps(plain(readings_json(*one_reading()))))
    assert told["readings"]["output"]["low"] < told["readings"]["output"]["truth"] < told["readings"]["output"]["high"]
    assert unit_of("output") == "L/min" and unit_of("systolic") == "mmHg"
