"""What is printed of a budget, and its JSON."""
import json

import pytest

from experiments.design.budget.cost import LoopCost
from experiments.design.budget.sensitivity import Effect, budget
from experiments.design.budget.sobol import FIGURES, sobol_study
from experiments.design.budget.text import budget_json, budget_lines, sentence, telling
from experiments.rigs.rig import read_rig
from experiments.subjects.bands import usual_bands
from experiments.work.output import plain
from experiments.work.run import local

BANDS = usual_bands(1e-3)


@pytest.fixture(scope="module")
def found():
    return budget(read_rig("wrist"), 90.0, BANDS)


def effect(*change):
    return Effect("tube.length_m", "m", 0.1, 0.2, "10 cm more tube", LoopCost(*change, 0.0), None, "")


def test_in_the_engineer_s_terms():
    assert sentence(effect(-4.12, -0.3, 0.2, 0.01)) == (
        "10 cm more tube: costs 4.1° of phase margin, −0.30 ticks of delay margin, Ms +0.20, error +0.010 mmHg")
    assert sentence(effect(4.0, 0.001, 0.0, 0.0)).startswith("10 cm more tube: brings 4.0° of phase margin, 0.00 ticks")
    assert sentence(effect(float("nan"), *[float("nan")] * 3)) == "10 cm more tube: unstable"


def test_lines(found):
    said = budget_lines(found, None, "a note")
    assert said[0].startswith("budget of wrist at 90 mmHg: phase margin 5") and said[-1] == "a note"
    assert any(line.startswith("a cuff that compresses 10 % more length: costs") for line in said)
    assert any(line.startswith("0.2 ms more dead time") for line in said)
    assert any(line.startswith("not tried: a 10 % longer tick") for line in said)
    assert max(map(len, said)) < 130


def test_sorted_by_phase_and_without_the_negligible(found):
    sizes = [abs(e.effect.phase_margin_deg) for e in telling(found)]
    assert sizes == sorted(sizes, reverse=True) and 10 < len(sizes) < len(found.effects)


def test_json_holds_everything(found):
    pytest.importorskip("SALib")
    study = sobol_study(found, BANDS, 0.2, 8, 1, engine=local(1))
    document = json.loads(json.dumps(plain(budget_json(found, study))))
    tube = document["parameters"]["tube.length_m"]
    assert tube["unit"] == "m" and tube["step"] == "10 cm more tube" and tube["derivative"]["phase_margin_deg"] < 0.0
    assert set(document["sobol"]["figures"]) == set(FIGURES)
    assert set(document["sobol"]["figures"]["error_mmHg"]["total"]) == set(document["sobol"]["ranges"])
    assert any("total Sobol index over 96 points" in line for line in budget_lines(found, study))
