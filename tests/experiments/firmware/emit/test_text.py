"""Layout of emitted text."""
import re

from hypothesis import given
from hypothesis import strategies as st

from controller.protection.detectors_pressure import LimitState, PressureLimit, pressure_limit_step
from controller.tick.law import Coefficients
from experiments.firmware.emit.kinds import DOUBLE
from experiments.firmware.emit.text import WIDTH, comment, folded, joined, place_of, remarks, source
from experiments.firmware.emit.unit import Unit
from plant.pneumatics.air import Air, restriction_flow
from tests.controller.protection.detector_bench import QUIET


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


def test_lines_that_fill_their_width_go_on_in_the_next() -> None:
    """A paragraph is one; a short line ends it, and an empty one."""
    long = "x" * 95
    assert joined([long, "goes on", "", "next"]) == [f"{long} goes on", "", "next"]
    assert joined(["short", "other"]) == ["short", "other"]


def test_remarks_of_the_source_are_kept() -> None:
    """What stands behind a constant, before a statement, and in the docstring of a detector's part."""
    unit = Unit(DOUBLE)
    roots = [unit.root(restriction_flow, Air(), 0.1, 0.3, 200.0, 0.0),
             unit.root(pressure_limit_step, PressureLimit(), LimitState(0, False), QUIET)]
    said = source(unit, roots, "unit", "A test.")
    assert "ML_PER_S_PER_MMHG 1.33322 /* 1 dm³/(s·bar) = 1000 mL/s per 100 kPa; plant.pneumatics.air */" in said
    assert "/* the linear piece is a chord of this curve" in said
    assert "PressureLimit: Reading above a limit for longer than the hold time." in said
