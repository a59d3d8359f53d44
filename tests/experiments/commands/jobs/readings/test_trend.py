"""`cuffloop trend` as a whole, and the report's section of it."""
import json

import pytest


def test_what_cannot_be_is_refused(refusal, tmp_path):
    assert "--minutes 1 must be" in refusal("trend", "wrist", "--minutes", 1)
    assert "nowhere" in refusal("report", "wrist", "--trend", tmp_path / "nowhere")


@pytest.mark.slow
def test_files_and_the_report_s_section(cuffloop, refusal, tmp_path):
    said = cuffloop("trend", "wrist", "--schedules", "steady", "--scenarios", "quiet", "--minutes", 2, "--out",
                    tmp_path / "trend", "--json")
    document = json.loads(said.out)
    assert said.status == 0 and document["rows"][0]["schedule"] == "steady"
    limits = tmp_path / "limits.toml"
    limits.write_text("[phase_margin_deg]\nmin = 30\n")
    short = ("--record", "synthetic", "--seconds", 20, "--requirements", limits)
    said = cuffloop("report", "wrist", *short, "--trend", tmp_path / "trend", "--out", tmp_path / "report")
    page = (tmp_path / "report" / "report.html").read_text()
    assert said.status == 0 and "Two fingers in turn" in page and "figure-hour_quiet" in page
    assert "was made on rig wrist" in refusal("report", "cabinet", *short, "--trend", tmp_path / "trend")
