"""The whole report: one file that pins down what went in."""
import hashlib
import re

import pytest

from experiments.safety.report.report import digest, report_page
from experiments.work.output import provenance
from tests.experiments.safety.report.test_faults_sections import HIGH, evidence, failure
from tests.experiments.safety.report.test_page import read


@pytest.fixture(scope="module")
def whole(checked, tmp_path_factory):
    limits = tmp_path_factory.mktemp("in") / "limits.toml"
    limits.write_text("x")
    return report_page(checked, evidence(failure("valve stuck open")), provenance(1), [limits])


def test_all_sections_are_there_and_linked(whole):
    reader = read(whole)
    order = ("requirements", "margins", "tracking", "calibration", "faults", "limits", "hazards", "points", "bounds",
             "alarms", "themes", "provenance", "cautions", "rig")  # tables of parameters are an appendix
    assert [anchor for anchor in reader.ids if anchor in order] == list(order)
    assert all(href[1:] in reader.ids for href in reader.links)
    assert len(reader.ids) == len(set(reader.ids))


def test_it_loads_nothing(whole):
    assert not re.search(r"https?:|//[a-z]|@import|<link|<iframe", re.sub(r"base64,[A-Za-z0-9+/=]+", "", whole))


def test_inputs_are_pinned_down(whole, checked):
    assert hashlib.sha256(b"x").hexdigest() in whole
    assert digest(checked.run.trace.pressure_mmHg.tobytes()) in whole


def test_the_first_minute_leads_with_what_is_not_contained(checked):
    everything = evidence(failure("valve stuck open", relief=HIGH), failure("b", HIGH, 3))
    text = report_page(checked, everything, provenance(1), [])
    lead = text[: text.index("<nav>")]
    said = "Rig wrist: FAIL: 1 of 2 failures is not contained; requirements"
    assert said in lead and "PASS" not in lead
    assert lead.index(said) < lead.index("Not contained") < lead.index("Worst contained") < lead.index("Requirements")
    assert lead.lower().count("worst") == 1


def test_how_it_was_made_is_told(whole):
    words = "".join(read(whole).words)
    found = provenance(1)["provenance"]
    assert found["commit"] in words and found["python"] in words and found["platform"] in words


def test_cautions_are_said(whole):
    words = "".join(read(whole).words)
    for part in ("not a medical device", "scope is intermittent cuffs", "must decide", "licensed practice"):
        assert part in words


def test_without_a_study_of_failures(checked):
    text = report_page(checked, None, provenance(1), [])
    assert "No study of failures" in text and 'id="faults"' not in text
