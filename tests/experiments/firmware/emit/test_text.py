"""Layout of emitted text."""
import re

from hypothesis import given
from hypothesis import strategies as st

from controller.tick.law import Coefficients
from experiments.firmware.emit.text import WIDTH, comment, folded, place_of, remarks


@given(st.lists(st.sampled_from(["alpha", "beta + gamma,", "(delta * eps)", "&& zeta"]), min_size=1, max_size=60))
def test_folding_changes_white_space_only(words: list[str]) -> None:
    """A long line says the same on several."""
    line = "    " + " ".join(words) + ";"
    out = folded(line)
    assert re.sub(r"\s+", "", "".join(out)) == re.sub(r"\s+", "", line)
    assert all(len(part) <= WIDTH for part in out)


def test_comments_cannot_end_early() -> None:
    """A docstring with an end of comment in it stays one comment."""
    assert "\n".join(comment("a */ b /* c")).count("*/") == 1


def test_fields_carry_what_their_source_says() -> None:
    """The comment behind a field, and the class's place."""
    assert remarks(Coefficients)["period_s"] == "tick"
    assert place_of(Coefficients).startswith("controller/tick/law.py:")
