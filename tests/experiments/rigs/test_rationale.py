"""Identifiers and rationales of requirements."""
import pytest

from experiments.rigs.rationale import ABOUT, identifier_of, own_about, rationale_of
from experiments.rigs.requirements import FIGURES, Verdict, load_requirements
from plant.errors import InputError


def test_every_figure_has_its_own():
    assert set(ABOUT) == set(FIGURES) and len({about.identifier for about in ABOUT.values()}) == len(ABOUT)
    assert all(about.rationale for about in ABOUT.values())


def test_a_limit_of_a_spread_is_told_from_the_other():
    mean, sd = (Verdict("beat_systolic_error_mmHg", limit, 1.0, 0.5, "mmHg") for limit in ("mean_max", "sd_max"))
    assert identifier_of(mean) == "RQ16.mean" and identifier_of(sd) == "RQ16.sd"
    assert identifier_of(Verdict("cuff_mmHg", "max", 300.0, 200.0, "mmHg")) == "RQ21"
    assert identifier_of(Verdict("own", "max", 1.0, 0.5, "")) == "own"


def test_a_file_may_bring_its_own(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text("[cuff_mmHg]\nmax = 250\nid = 'SR-7'\nrationale = 'thin skin'\n[rms_error_mmHg]\nmax = 1\n")
    assert load_requirements(path) == {"cuff_mmHg": {"max": 250.0}, "rms_error_mmHg": {"max": 1.0}}
    own, verdict = own_about(path), Verdict("cuff_mmHg", "max", 250.0, 200.0, "mmHg")
    assert (identifier_of(verdict, own), rationale_of(verdict, own)) == ("SR-7", "thin skin")
    other = Verdict("rms_error_mmHg", "max", 1.0, 0.5, "mmHg")
    assert (identifier_of(other, own), rationale_of(other, own)) == ("RQ13", ABOUT["rms_error_mmHg"].rationale)


@pytest.mark.parametrize("text", ["[cuff_mmHg]\nmax = 250\nid = 7\n", "[cuff_mmHg]\nid = 'SR-7'\n"])
def test_a_text_that_is_none_and_a_limit_that_is_missing_are_refused(tmp_path, text):
    path = tmp_path / "own.toml"
    path.write_text(text)
    with pytest.raises(InputError, match="cuff_mmHg"):
        load_requirements(path)
