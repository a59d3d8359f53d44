"""A raised hand in lines and as plain data."""
from calibrate.height import HeightSensor, NotZeroed, Zero
from experiments.calibration.height.study import STORY, HeightStudy, STORY_s
from experiments.calibration.height.text import height_json, height_lines, hold_rows
from plant.units import hydrostatic_mmHg

REFUSED = NotZeroed("moved", "the hand moved by 45 cm")


def made():
    """Beats of a second; at each height of the story the reading is low by the column, and corrected to 0.5 mmHg."""
    import numpy as np

    beats = np.arange(1.0, STORY_s)
    height = np.zeros(len(beats))
    for move in STORY:
        ramp = abs(move.height_m) / move.speed_m_s
        height[(beats > move.start_s + ramp) & (beats < move.start_s + ramp + move.hold_s)] = move.height_m
    heart = np.full(len(beats), 90.0)
    ticks = np.zeros(1000)
    return HeightStudy(0.1, ticks, ticks, Zero(0.0, 1e-4, 1e-3), beats, heart, heart - hydrostatic_mmHg(1.0) * height,
                       heart + 0.5)


def test_a_row_for_each_height():
    rows = hold_rows(made())
    assert [row["height_m"] for row in rows] == [0.1, 0.4]
    for row in rows:
        assert abs(row["as_read_mmHg"] + hydrostatic_mmHg(row["height_m"])) < 1e-9
        assert abs(row["corrected_mmHg"] - 0.5) < 1e-12
    lines = height_lines("wrist", made())
    assert "40 cm" in lines[-2] and "−31.04" in lines[-2] and "+0.50" in lines[-2]
    document = height_json("wrist", made(), HeightSensor(gain=0.9))
    assert document["zeroed"] is True and document["holds"] == rows and document["sensor"]["gain"] == 0.9


def test_a_sensor_that_was_not_zeroed():
    assert height_lines("wrist", REFUSED) == ["wrist: the height sensor was not zeroed: the hand moved by 45 cm"]
    document = height_json("wrist", REFUSED, HeightSensor())
    assert document["zeroed"] is False and document["why"] == "the hand moved by 45 cm"
