"""The probing search: how one look moves the mark, and the closed loop on invented fingers."""
import math

import numpy as np
import pytest

from calibrate.probing import Vertex
from calibrate.probing_search import Mark, ProbingSearch, follow, lost
from calibrate.protocol import Failed, Found, Instrument, Seen
from experiments.calibration import transmural_error
from experiments.finger import DEFECTS, finger_inputs, on_finger
from experiments.instrument import instrument_of
from experiments.population import sample_fingers, spoil
from experiments.rig import Rig, load_rig
from experiments.session import Session

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)
MARK = Mark(0.6, 0.005, 15.0, 4.0)


def vertex(offset_mmHg: float, sd: float = 0.5, scatter: float = 0.02) -> Vertex:
    return Vertex(0.6 + 0.005 * offset_mmHg, 0.005, 15.0, sd, scatter, 0.6, 0.03)


@pytest.mark.parametrize("offset", [-4.0, 4.0])
def test_a_look_moves_the_mark_towards_its_vertex(offset: float) -> None:
    moved, mark = follow(MARK, vertex(offset), 2.0)
    assert 0.0 < moved / offset <= 1.0
    assert math.copysign(1.0, mark.depth - 0.6) == math.copysign(1.0, offset)
    assert mark.variance < MARK.variance + 4.0


def test_a_noisy_look_moves_nothing_and_knows_less() -> None:
    moved, mark = follow(MARK, vertex(4.0, scatter=0.5), 2.0)
    assert moved == 0.0 and mark.depth == MARK.depth and mark.variance == 8.0


def test_a_surer_look_moves_more() -> None:
    assert follow(MARK, vertex(3.0, 0.2), 1.0)[0] > follow(MARK, vertex(3.0, 4.0), 1.0)[0]


def test_a_clamp_at_its_limit_is_lost() -> None:
    level, none = np.full(1000, 0.5), np.zeros(1000)
    assert lost(Seen(level, np.full(1000, 90.0), none, none), INSTRUMENT) is None
    limited = lost(Seen(level, np.full(1000, 90.0), none, none + 1.0), INSTRUMENT)
    high = lost(Seen(level, np.full(1000, 320.0), none, none), INSTRUMENT)
    assert limited is not None and high is not None and limited.reason == "clamp not held"


@pytest.fixture(scope="module")
def wrist() -> tuple[Rig, Instrument]:
    rig = load_rig("wrist")
    return rig, instrument_of(rig)


@pytest.mark.parametrize("number", range(4))
def test_the_set_point_is_found_on_invented_fingers(wrist: tuple[Rig, Instrument], number: int) -> None:
    rig, instrument = wrist
    finger = sample_fingers(8, "mixed", 77)[number]
    own = on_finger(rig, finger)
    session = Session(own, finger_inputs(own, finger, 45.0), 3, 5)
    outcome = session.follow(ProbingSearch().search(instrument), instrument)
    assert isinstance(outcome, Found)
    rows = session.blocks[-1]  # the last look sweeps about the set point and back
    tone = session.inputs.tone[session.state.tick - len(rows) : session.state.tick]
    assert abs(transmural_error(rows, own, tone)) < 4.0


REASONS = ("no pulse", "light saturated", "cuff too loose")


@pytest.mark.parametrize(("defect", "reason"), list(zip(DEFECTS, REASONS, strict=True)))
def test_what_cannot_be_measured_is_declared(wrist: tuple[Rig, Instrument], defect: str, reason: str) -> None:
    rig, instrument = wrist
    finger = spoil(sample_fingers(1, "mixed", 78)[0], defect)
    own = on_finger(rig, finger)
    session = Session(own, finger_inputs(own, finger, 45.0), 3, 5)
    outcome = session.follow(ProbingSearch().search(instrument), instrument)
    assert isinstance(outcome, Failed) and outcome.reason == reason
