"""The table of steps: measured as a search measures them, and what became of each."""
import itertools
import math

import numpy as np
import pytest

from calibrate.protocol import Found, Hold
from calibrate.search.staircase import Staircase
from calibrate.search.strategies import OwnSearch, Strategy
from experiments.calibration.search.staircase import coarse_law, phases, seen_of, step_rows
from experiments.calibration.search.trial import finger_trial
from experiments.simulation.instrument import instrument_of
from experiments.simulation.session import COLUMN
from experiments.simulation.set_point import ENTER_s
from experiments.subjects.population import find_finger


def test_steps_follow_the_requests(trials):
    """Numbered in time, at the pressure that was asked for."""
    trial = trials["probing"]
    rows = step_rows(trial)
    holds = [r for r in trial.session.requests if isinstance(r, Hold)]
    assert [r.number for r in rows] == list(range(1, len(holds) + 1))
    assert np.all(np.diff([r.start_s for r in rows]) > 0)
    for row, hold in zip(rows, holds, strict=True):
        assert row.cuff_mmHg == pytest.approx(hold.pressure_mmHg, abs=1.0) and row.purpose == hold.purpose
    largest = max(r.pulsation for r in rows)
    assert 0.002 < largest < 0.1  # AC/DC of 0.2 to 10 %


def test_the_classroom_rule_uses_one_step(trials):
    rows = step_rows(trials["classroom"])
    used = [r for r in rows if r.note.lower().startswith("used")]
    staircase = [r for r in rows if r.purpose in ("way up", "between")]
    assert used == [max(staircase, key=lambda r: r.pulsation)]
    assert rows[-1].note == "where the clamp starts" and math.isnan(rows[-1].pulsation)
    assert trials["classroom"].calibration.outcome.set_point == pytest.approx(used[0].light, rel=1e-12)
    others = [r for r in staircase if r not in used]
    assert all(r.note.startswith("not used: ") and r.note.endswith("% of the largest") for r in others)


@pytest.mark.parametrize("name", ["arctangent", "waveform", "probing"])
def test_fits_use_all_and_read_the_level_last(trials, name):
    rows = step_rows(trials[name])
    assert all(r.note.startswith("used: in the fit") for r in rows if r.purpose != "level")
    levels = [r for r in rows if r.purpose == "level"]
    assert levels and all(r.note == "used: the level is read here" for r in levels)
    law = coarse_law(trials[name])
    assert law is not None and 60.0 < law.middle_mmHg < 110.0
    assert sum("largest pulsation" in r.note for r in rows) <= 1


def test_why_a_step_was_not_used(trials):
    assert {r.note for r in step_rows(trials["no pulse"])} == {"no pulsation beyond noise"}
    assert [r.note for r in step_rows(trials["loose cuff"])] == ["not used: the cuff filled too slowly"]
    assert [r.note for r in step_rows(trials["saturated"])] == ["not used: the light is at an end of its converter"]
    for name in ("no pulse", "loose cuff", "saturated", "classroom"):
        assert coarse_law(trials[name]) is None


def test_phases_join_the_looks(trials):
    found = phases(trials["probing"])
    assert found[0].start_s == 0.0
    assert all(a.end_s == pytest.approx(b.start_s) for a, b in itertools.pairwise(found))
    looks = [p for p in found if p.purpose == "look"]
    assert len(looks) == 1 and looks[0].times >= 7 and looks[0].kind == "clamp"
    assert found[-1].purpose == "judged"  # it ends in the clamp; a search that ends in a hold has a way in before
    assert found[-2].end_s == pytest.approx(trials["probing"].calibration.search_s)
    way_in = phases(trials["arctangent"])[-2]
    assert way_in.purpose == "clamp" and way_in.end_s - way_in.start_s == pytest.approx(ENTER_s)


def test_transmural_pressure_of_a_step_is_the_true_one(trials):
    trial = trials["classroom"]
    row, block = step_rows(trial)[1], trial.session.blocks[1]
    late = block[len(block) // 2 :]
    true = np.mean(late[:, COLUMN["arterial_mmHg"]] - late[:, COLUMN["external_mmHg"]])
    assert row.transmural_mmHg == pytest.approx(float(true), abs=1e-12)
    assert np.array_equal(seen_of(block).light, block[:, COLUMN["light"]])


def test_a_search_of_ones_own_with_steps_of_its_own(wrist):
    """What it calls its steps is kept, a hold too short to see a beat has no pulsation, and its settling counts."""
    class Mine:
        stairs = Staircase(settle_s=1.0)

        def search(self, instrument):
            yield Hold(60.0, 3.0, "first")
            yield Hold(80.0, 3.0)
            seen = yield Hold(70.0, 0.2, "brief")
            return Found(float(np.mean(seen.light)), 1e-4, 70.0, 5.0)

    finger = find_finger("mixed-1-0011")
    trial = finger_trial(wrist, finger, Strategy("mine", "", OwnSearch("mine", Mine())), instrument_of(wrist), 5)
    rows = step_rows(trial)
    assert [r.purpose for r in rows] == ["first", "", "brief"] and math.isnan(rows[2].pulsation)
    assert rows[0].light == pytest.approx(float(np.mean(trial.session.blocks[0][1000:, COLUMN["light"]])), abs=1e-12)
    assert rows[1].note == "largest pulsation" and rows[0].note.endswith("% of the largest")
    assert coarse_law(trial) is None
