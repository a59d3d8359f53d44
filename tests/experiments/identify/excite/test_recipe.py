"""Pieces for both kinds of valve stay below the ceiling, and are taken in the order in which they help."""
import numpy as np
import pytest

from experiments.identify.excite.recipe import (
    PARTS,
    RESERVE,
    WANTED,
    best_order,
    pieces_for,
    predicted_peak,
    resting_command,
)
from experiments.identify.recording.recording import KINDS
from experiments.rigs.rig import load_rig
from plant.errors import InputError


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_every_piece_stays_below_the_reserve(name):
    """All of them, and each begins at rest and with no command."""
    rig = load_rig(name)
    found = pieces_for(rig, PARTS, 250.0, 2000.0)
    assert {piece.played for piece in found} == {kind for part in PARTS for kind in WANTED[part]}
    assert {piece.played for piece in found} <= set(KINDS)
    for piece in found:
        assert piece.peak_mmHg <= RESERVE * 250.0 and piece.peak_mmHg == predicted_peak(rig, piece.command, 5e-4)
        assert not np.any(piece.command[:200]) and np.ptp(piece.command) > 0.02
        assert piece.peak_mmHg > 0.3 * RESERVE * 250.0


def test_the_resting_command_is_past_the_dead_band():
    assert 0.02 < resting_command(load_rig("wrist")) < 0.1


def test_bad_parts():
    for parts in (["lamp"], []):
        with pytest.raises(InputError, match="--for"):
            pieces_for(load_rig("wrist"), parts, 250.0, 2000.0)


def test_the_best_order_for_the_time():
    """Of two alike the shorter first; what is known already adds nothing; what does not fit is left out."""
    strong, other = np.diag([100.0, 0.0]), np.diag([0.0, 100.0])
    order = best_order([strong, strong, other], [2.0, 1.0, 1.0], 3.0, np.eye(2))
    assert [i for i, _ in order] == [1, 2] and order[0][1] == pytest.approx(np.log(101.0))
    assert [i for i, _ in best_order([strong, strong, other], [2.0, 1.0, 1.0], 4.0, np.eye(2))] == [1, 2, 0]
    assert best_order([strong], [2.0], 1.0, np.eye(2)) == []
