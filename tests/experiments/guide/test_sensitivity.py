"""Sobol indices of margins: ranges that exist, what drops out, and the guide's table as the command prints it."""
import re
from pathlib import Path

import numpy as np
import pytest

from experiments.guide.build import PAGES
from experiments.guide.sensitivity import OUTCOMES, RANGES, indices, outcomes_at, plant_at, table
from experiments.rigs.rig import clamp, load_rig

PAGE = (Path(PAGES) / "why" / "sources.md").read_text(encoding="utf-8")


def said(rig: str) -> np.ndarray:
    """Total indices of the guide's table of a rig, shape (outcomes, ranges)."""
    block = PAGE.split(f"**`{rig}`**")[1].split("\n| *5")[0]
    rows = [line for line in block.splitlines() if re.search(r"\d \(\d", line)]
    return np.array([[float(v) for v in re.findall(r"(\d\.\d\d) \(", row)] for row in rows]).T


def test_a_plant_takes_each_value() -> None:
    """Every range names a parameter of the plant, inside its declared bounds, or systolic pressure."""
    values = np.array([0.5 * (one.low + one.high) for one in RANGES])
    plant, arterial = plant_at(load_rig("wrist").plant, values)
    for one, value in zip(RANGES, values, strict=True):
        part, _, field = one.key.partition(".")
        assert not field or getattr(getattr(plant, part), field) == value
    assert arterial == pytest.approx(0.77 * 130.0)


def test_a_found_slope_takes_path_and_absorption_out() -> None:
    """With the slope that the light has on this finger, how much blood it passes is next to nothing to the loop."""
    rig = load_rig("wrist")
    slope = clamp(rig, 93.0, 0.0).light_slope
    values = np.array([0.5 * (one.low + one.high) for one in RANGES])
    one, other = values.copy(), values.copy()
    path = [r.key for r in RANGES].index("light.arterial_path_cm")
    one[path], other[path] = 0.02, 0.08
    first, second = outcomes_at(rig, one, slope), outcomes_at(rig, other, slope)
    assert first[:2] == pytest.approx(second[:2], rel=2e-3) and first[3] < second[3]


def test_the_guide_s_table_is_what_the_command_prints() -> None:
    """Total indices of the wrist rig to 0.15, from half of the guide's samples; no index strays far from 0 … 1."""
    found = indices(load_rig("wrist"), 128, 2)
    assert found.total.shape == (len(OUTCOMES), len(RANGES)) == said("wrist").shape == said("cabinet").shape
    assert np.all(found.total > -0.1) and np.all(found.first < 1.1)
    np.testing.assert_allclose(np.maximum(found.total, 0.0), said("wrist"), atol=0.15)
    assert len(table(found).splitlines()) == len(RANGES) + 3
