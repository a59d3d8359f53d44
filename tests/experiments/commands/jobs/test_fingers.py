"""Fingers as a table: written, read back to the same bits, refused in one line."""
import json

import numpy as np
import pytest

from experiments.commands.jobs.fingers import FingersOptions, fingers_job
from experiments.subjects.population import sample_fingers
from experiments.subjects.table import chosen_fingers, finger_of_table, is_table
from experiments.subjects.text import quantiles
from plant.errors import InputError


def test_a_table_is_read_back_to_the_same_fingers(tmp_path, capsys):
    assert fingers_job(FingersOptions(group="cold", count=6, seed=3, out=tmp_path / "o", as_json=False)) == 0
    printed = capsys.readouterr().out
    assert "cold-3-0000 … cold-3-0005" in printed and "pressure.systolic_mmHg [mmHg]" in printed
    table = str(tmp_path / "o" / "fingers.csv")
    assert chosen_fingers(6, table, 99) == sample_fingers(6, "cold", 3)
    assert chosen_fingers(2, table, 99) == sample_fingers(2, "cold", 3)
    assert sorted(p.name for p in (tmp_path / "o").iterdir()) == ["fingers.csv"]


def test_quantiles_are_those_of_the_fingers(capsys):
    people = sample_fingers(40)
    found = quantiles(people)["pressure.diastolic_mmHg [mmHg]"]
    assert found == pytest.approx(np.quantile([f.pressure.diastolic_mmHg for f in people], (0.05, 0.5, 0.95)))
    assert fingers_job(FingersOptions(group="mixed", count=40, seed=1, out=None, as_json=True)) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["fingers"] == 40 and document["quantiles"]["pressure.diastolic_mmHg [mmHg]"] == pytest.approx(found)


@pytest.mark.parametrize(("group", "count", "seed", "word"), [
    ("nobody", 5, 1, "nobody"), ("mixed", 0, 1, "fingers 0"), ("mixed", 5, -1, "seed -1"),
    ("none.csv", 5, 1, "none.csv"),
])
def test_what_makes_no_sense(group, count, seed, word, tmp_path):
    with pytest.raises(InputError, match=word):
        fingers_job(FingersOptions(group=group, count=count, seed=seed, out=tmp_path / "o"))
    assert not (tmp_path / "o").exists()


def test_a_table_that_is_too_short(tmp_path):
    fingers_job(FingersOptions(group="mixed", count=2, seed=1, out=tmp_path, as_json=True))
    with pytest.raises(InputError, match="has only 2"):
        chosen_fingers(3, str(tmp_path / "fingers.csv"), 1)


def test_one_finger_of_a_table(tmp_path):
    fingers_job(FingersOptions(group="young", count=3, seed=1, out=tmp_path, as_json=True))
    table = str(tmp_path / "fingers.csv")
    assert is_table(table) and not is_table("young") and not is_table(None)
    assert finger_of_table("young-1-0001", table) == sample_fingers(2, "young")[1]
    with pytest.raises(InputError, match="not in"):
        finger_of_table("young-1-0007", table)
