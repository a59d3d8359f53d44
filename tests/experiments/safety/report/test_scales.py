"""Scales of the failure-mode table: what ships, what they rank, what is refused."""
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.safety.report.scales import default_scales, load_scales
from plant.errors import InputError

GOOD = """
[severity]
highest_mmHg = [ { at = 0, rank = 1 }, { at = 300, rank = 9 } ]
[detection]
detect_s = [ { at = 0, rank = 2 }, { at = 10, rank = 10 } ]
[occurrence]
default = 4
"valve stuck open" = 7
"""


def written(tmp_path, text):
    path = tmp_path / "scales.toml"
    path.write_text(text)
    return path


def test_the_shipped_scales_are_marked_as_invented():
    scales = load_scales(default_scales())
    assert "invented" in scales.about
    assert scales.severity_rank({"highest_mmHg": 331.0, "wrong_s": 0.0}) == 10
    assert scales.severity_rank({"highest_mmHg": 120.0, "wrong_s": 0.0}) == 2
    assert scales.severity_rank({"highest_mmHg": 120.0, "wrong_s": 60.0}) == 7  # the worse of the two


def test_a_file_of_ones_own(tmp_path):
    scales = load_scales(written(tmp_path, GOOD))
    assert [scales.detection_rank({"detect_s": t}) for t in (0.0, 9.9, 10.0, math.inf)] == [2, 2, 10, 10]
    assert (scales.occurrence_rank("valve stuck open"), scales.occurrence_rank("another")) == (7, 4)
    assert scales.severity_rank({"highest_mmHg": math.nan}) == 1  # nothing known, nothing claimed


@given(st.floats(0, 400), st.floats(0, 400), st.floats(0, 1000), st.floats(0, 1000))
def test_worse_is_never_ranked_lower(one, other, short, long):
    scales = load_scales(default_scales())
    low, high = sorted((one, other))
    brief, lasting = sorted((short, long))
    better = scales.severity_rank({"highest_mmHg": low, "wrong_s": brief})
    assert 1 <= better <= scales.severity_rank({"highest_mmHg": high, "wrong_s": lasting}) <= 10


@pytest.mark.parametrize(("old", "new", "words"), [
    ("[severity]", "[gravity]", "gravity is not a scale"), ("rank = 9", "rank = 11", r"highest_mmHg\[1\].rank = 11"),
    ("rank = 9", "rank = 0", "from 1 to 10"), ("rank = 9", "rank = true", "whole number"),
    ("at = 300", "at = -1", "from 0"), ("at = 300", "at = nan", "from 0"), ("default = 4", "other = 4", "default"),
    ("highest_mmHg", "lowest_mmHg", "not a figure"), ("{ at = 0, rank = 2 }", "3", "must read"),
    ("{ at = 0, rank = 2 }", "{ at = 50, rank = 2 }", "must rise"),
    ("detect_s = [ { at = 0, rank = 2 }, { at = 10, rank = 10 } ]", "detect_s = []", "must be a list"),
    ("detect_s = [ { at = 0, rank = 2 }, { at = 10, rank = 10 } ]", "", "detection"),
])
def test_what_is_wrong_is_named_with_its_file(tmp_path, old, new, words):
    path = written(tmp_path, GOOD.replace(old, new))
    with pytest.raises(InputError, match=words) as refused:
        load_scales(path)
    assert str(path) in str(refused.value) and "\n" not in str(refused.value)
