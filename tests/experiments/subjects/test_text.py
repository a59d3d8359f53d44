"""Virtual fingers by quantiles."""
import numpy as np
import pytest

from experiments.subjects.population import sample_fingers
from experiments.subjects.text import fingers_json, fingers_lines, quantiles


def test_quantiles_are_those_of_the_fingers():
    people = sample_fingers(40)
    found = quantiles(people)["pressure.diastolic_mmHg [mmHg]"]
    assert found == pytest.approx(np.quantile([f.pressure.diastolic_mmHg for f in people], (0.05, 0.5, 0.95)))


def test_lines_and_data():
    people = sample_fingers(6, "cold", 3)
    lines = fingers_lines("cold", people)
    assert lines[0] == "6 virtual fingers of cold: cold-3-0000 … cold-3-0005 (invented people)"
    assert any(line.startswith("pressure.systolic_mmHg [mmHg]") for line in lines)
    document = fingers_json("cold", people)
    assert document["fingers"] == 6 and document["quantiles"] == quantiles(people)
