import numpy as np
import pytest

from experiments.readings.chain.truth import strokes_at
from tests.experiments.readings.chain.one_reading import one_reading, record


def test_every_foot_finds_its_beat() -> None:
    beats = record().beats
    openings = beats.opening_s[3:10]
    assert strokes_at(record(), openings + 0.15) == pytest.approx(beats.stroke_mL[3:10])
    assert np.all(np.isnan(strokes_at(record(), openings[:-1] + 0.6)))


def test_truth_of_a_reading() -> None:
    found, truth = one_reading()
    flow = truth.values["stroke volume"] * truth.values["rate"] * 1e-3
    assert truth.values["output"] == pytest.approx(flow, rel=0.01)
    assert len(truth.stroke_mL) == len(found.beats.onset_s) and len(truth.arm_mmHg) == len(found.arm_wave_mmHg)
    assert 0.9 < truth.values["systolic"] / np.max(record().arm_mmHg) <= 1.0
