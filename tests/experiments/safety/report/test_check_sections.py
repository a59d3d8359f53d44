"""Sections of a report that follow from a check."""
import re

import pytest

from experiments.rigs.requirements import FIGURES
from experiments.rigs.table import rig_parts
from experiments.safety.report.check_sections import check_sections, place_of, rig_section, verdict_rows
from experiments.safety.report.page import Section


@pytest.fixture(scope="module")
def sections(checked):
    return {s.anchor: s for s in check_sections(checked, "cuffloop report wrist")}


def test_every_limit_has_its_row_its_run_and_its_figure(checked, sections):
    """The matrix from requirement to run to figure has no loose ends."""
    rows = verdict_rows(checked.verdicts)
    assert len(rows) == len(checked.verdicts) > 5
    everything = "".join(s.body for s in sections.values())
    for verdict, row in zip(checked.verdicts, rows, strict=True):
        section, figure = place_of(verdict.figure)
        assert section in sections
        assert f'id="{figure}"' in everything or figure in sections
        assert row[3] == verdict.found and row[5] is verdict.passed and row[6] and f"#{section}" in row[7]
    assert sections["requirements"].body.count("<tr>") == len(rows) + 1


@pytest.mark.parametrize("figure", FIGURES)
def test_every_figure_that_can_be_required_has_a_place(figure):
    assert place_of(figure)[0] in {"margins", "tracking", "calibration"}


def test_pictures_are_inside(sections):
    assert sections["margins"].body.count("data:image/png;base64,") == 2
    assert sections["tracking"].body.count("data:image/png;base64,") == 1
    assert "cuffloop report wrist" in sections["requirements"].body


def test_every_parameter_of_the_rig_is_there(checked):
    section = rig_section(checked)
    assert isinstance(section, Section)
    for table in rig_parts(checked.rig):
        assert f"<h3>{table}</h3>" in section.body
    rows = re.findall(r"<tr><td>kp</td>.*?</tr>", section.body)
    assert len(rows) == 1 and f"{checked.rig.controller.kp:g}" in rows[0]
