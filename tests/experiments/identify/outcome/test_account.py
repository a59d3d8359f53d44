"""What is left over is told in sentences, and no rig is written then."""
from experiments.identify.outcome.account import misfit_sentences, scale_sentence
from tests.experiments.identify.outcome.accounts import account, misfit


def test_a_fit_says_nothing_and_writes():
    assert misfit_sentences(account()) == [] and account().writes_a_rig


def test_a_misfit_says_where_how_much_and_what_it_looks_like():
    first, second = misfit_sentences(misfit())
    assert "0.1 rms are left over in reading_mmHg of sweep.csv, 5 times its noise" in first and "slow" in first
    assert second == "It looks like play between command and valve: valve.hysteresis would take 80 % of it away."
    assert not misfit().writes_a_rig and misfit()._replace(accepted=True).writes_a_rig


def test_a_misfit_that_nothing_of_ours_explains():
    assert "something that they do not have" in misfit_sentences(misfit(share=0.1))[-1]


def test_a_measured_volume_that_is_contradicted():
    assert any("pull cuff.volume_mL +9.0 standard" in line for line in misfit_sentences(misfit(pull=9.0)))


def test_what_scales_with_what_was_held():
    line = scale_sentence(account().found)
    assert "scale with cuff.volume_mL = 2.6 ± 0.052 mL (as measured)" in line
    assert "valve.outlet_resistance_mmHg_s_mL" in line and "valve.range_mmHg" not in line
    assumed = account().found._replace(held=(account().found.held[0]._replace(assumed=True),))
    assert "nobody has measured it" in scale_sentence(assumed)
