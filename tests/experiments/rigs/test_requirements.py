"""Requirements: limits as read, and the verdict on each."""
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.rigs.requirements import FIGURES, SPREAD, Verdict, default_requirements, judge, load_requirements
from experiments.rigs.rig import built_in_rigs
from plant.errors import InputError


@pytest.fixture
def load(tmp_path):
    def load(text):
        path = tmp_path / "limits.toml"
        path.write_text(text)
        return load_requirements(path)

    return load


@pytest.mark.parametrize("name", built_in_rigs())
def test_each_built_in_rig_has_its_own(name):
    found = load_requirements(default_requirements(name))
    assert {"gain_margin_dB", "phase_margin_deg", "modulus_margin", "rms_error_mmHg", "cuff_mmHg"} <= set(found)


def test_limits_as_read(load):
    found = load("[phase_margin_deg]\nmin = 45\nmax = 90.5\n[beat_mean_error_mmHg]\nsd_max = 1\n")
    assert found == {"phase_margin_deg": {"min": 45.0, "max": 90.5}, "beat_mean_error_mmHg": {"sd_max": 1.0}}


@pytest.mark.parametrize(("text", "says"), [
    ("", "no limits in it"),
    ("[phase_margin]\nmin = 45\n", "[phase_margin] is not a figure; use one of gain_margin_dB"),
    ("phase_margin_deg = 45\n", "phase_margin_deg = 45 must be a table with min or max"),
    ("[phase_margin_deg]\n", "phase_margin_deg = {} must be a table with min or max"),
    ("[phase_margin_deg]\nsd_max = 45\n", "phase_margin_deg.sd_max is not a limit of this figure; use min or max"),
    ("[beat_mean_error_mmHg]\nmax = 1\n", "beat_mean_error_mmHg.max is not a limit of this figure; use mean_max or"),
    ("[phase_margin_deg]\nmin = \"45\"\n", "phase_margin_deg.min = '45' must be a number"),
    ("[phase_margin_deg]\nmin = true\n", "phase_margin_deg.min = True must be a number"),
    ("[phase_margin_deg]\nmin = nan\n", "phase_margin_deg.min = nan must be a number from -1e+09 to 1e+09"),
    ("[phase_margin_deg]\nmin = inf\n", "phase_margin_deg.min = inf must be a number"),
    (f"[phase_margin_deg]\nmin = {'9' * 400}\n", "phase_margin_deg.min = 999"),
    ("[phase_margin_deg]\nmin = [45]\n", "phase_margin_deg.min = [45] must be a number"),
    ("[phase_margin_deg]\nmin = 4 5\n", "not valid TOML"),
])
def test_a_wrong_file_is_one_line(load, tmp_path, text, says):
    with pytest.raises(InputError) as refusal:
        load(text)
    assert str(refusal.value).startswith(f"{tmp_path / 'limits.toml'}: ") and says in str(refusal.value)


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_a_limit_is_kept_when_it_is_met(found, allowed):
    assert Verdict("rms_error_mmHg", "max", allowed, found, "mmHg").passed == (found <= allowed)
    assert Verdict("phase_margin_deg", "min", allowed, found, "°").passed == (found >= allowed)


@pytest.mark.parametrize(("limit", "found", "passed"), [
    ("min", math.inf, True), ("max", math.inf, False), ("min", math.nan, False), ("max", math.nan, False),
    ("min", -math.inf, False), ("sd_max", math.nan, False),
])
def test_figures_without_end_and_missing_ones(limit, found, passed):
    """An endless margin keeps any minimum; what could not be had keeps nothing."""
    assert Verdict("gain_margin_dB", limit, 6.0, found, "dB").passed is passed


@given(st.floats(-50, 50), st.floats(0, 50))
def test_spread_counts_the_magnitude_of_the_mean(mean, sd):
    limits = {"beat_systolic_error_mmHg": {"mean_max": 1.0, "sd_max": 2.0}}
    first, second = judge(limits, {"beat_systolic_error_mmHg": {"mean": mean, "sd": sd}})
    assert (first.found, first.passed) == (abs(mean), abs(mean) <= 1.0)
    assert (second.found, second.passed) == (sd, sd <= 2.0)


def test_missing_figures_fail():
    verdicts = judge({"rms_error_mmHg": {"max": 1e6}, "beat_mean_error_mmHg": {"sd_max": 1e6}}, {})
    assert [v.passed for v in verdicts] == [False, False] and all(math.isnan(v.found) for v in verdicts)


def test_every_figure_has_unit_and_words():
    assert set(SPREAD) < set(FIGURES)
    assert all(words for _, words in FIGURES.values())
    units = {name: unit.replace("%", "percent") for name, (unit, _) in FIGURES.items()}
    assert all(unit in name or unit in ("", "°", "ticks") for name, unit in units.items())
