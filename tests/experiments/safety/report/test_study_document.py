"""The document of a study with damage in every place: refused in one line, or harmless to the end of the report."""
import json

import pytest

from experiments.safety.report.evidence import (
    check_same_rig,
    failures_of,
    limit_words,
    physiology_of,
    read_study,
)
from experiments.safety.report.failure_table import rows_of, table_csv
from experiments.safety.report.faults_sections import Evidence, faults_sections, short_answer
from experiments.safety.report.scales import default_scales, load_scales
from experiments.safety.report.study_document import CHECKER
from plant.errors import InputError
from tests.experiments.safety.report.test_evidence import STUDY


def test_what_a_report_does_not_look_at_may_be_there():
    checked = CHECKER.validate_python(STUDY | {"settings": [], "more": [1]})
    assert "more" not in checked and checked["rig"] == "wrist"


def places(document, before=()):
    """Every place in a document, as the keys that lead there."""
    inside = document if isinstance(document, dict) else dict(enumerate(document if isinstance(document, list) else ()))
    for key, value in inside.items():
        yield (*before, key)
        yield from places(value, (*before, key))


def changed(document, place, value):
    """The document with another value there, or without the key."""
    if len(place) > 1:
        first = document[place[0]]
        new = changed(first, place[1:], value)
        return {**document, place[0]: new} if isinstance(document, dict) else [
            new if i == place[0] else item for i, item in enumerate(document)]
    if isinstance(document, dict):
        return {k: v if k != place[0] else value for k, v in document.items() if k != place[0] or value != "gone"}
    return [item if i != place[0] else value for i, item in enumerate(document) if i != place[0] or value != "gone"]


@pytest.mark.parametrize("value", ["gone", None, "x", -1, 10**400, 1e308, True, [], {}, ["x"], {"x": []}, "inf"])
def test_a_damaged_place_is_one_line_or_no_harm(tmp_path, wrist, value):
    """Each place of the document in turn: refused in a line, or read to the end as the report does."""
    for place in places(STUDY):
        (tmp_path / "faults.json").write_text(json.dumps(changed(STUDY, place, value)))
        try:
            study = read_study(tmp_path)
            check_same_rig(study, wrist, "wrist", [], tmp_path)
        except InputError as refused:
            assert "\n" not in str(refused) and len(str(refused)) < 600
            continue
        scales, command = load_scales(default_scales()), study["provenance"]["command"]
        evidence = Evidence(failures_of(study), limit_words(study), scales, *physiology_of(study), {}, command)
        short_answer(evidence), faults_sections(evidence)
        assert table_csv(rows_of(evidence.failures, evidence.scales))
