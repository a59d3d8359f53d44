"""The figure of a raised hand draws the study that it is given."""
import numpy as np
import pytest

from calibrate.height import Zero
from experiments.calibration.height.pictures import height_figure
from experiments.calibration.height.study import HeightStudy
from experiments.work.style import save
from plant.units import hydrostatic_mmHg


@pytest.fixture(scope="module")
def study():
    """Made up: 20 s at 0.1 s, hand up by 10 cm from 5 to 15 s with ramps of a second, sensed 1 % too large."""
    time = np.arange(200) * 0.1
    height = 0.1 * (np.clip(time - 5.0, 0, 1) - np.clip(time - 14.0, 0, 1))
    beats = np.arange(1.0, 19.0)
    offset = hydrostatic_mmHg(1.0) * np.interp(beats, time, height)
    heart = 90 + np.sin(beats)
    return HeightStudy(0.1, height, 1.01 * height, Zero(0.02, 1e-4, 1e-3), beats, heart, heart - offset,
                       heart + 0.01 * offset)


def test_it_draws_the_study(study):
    figure = height_figure(study, "up and down")
    height, pressure, error = figure.axes
    lines = {line.get_label(): line for line in (*height.lines, *pressure.lines)}
    assert np.array_equal(lines["true"].get_ydata(), 100 * study.height_m)
    assert np.array_equal(lines["sensed, after zeroing"].get_ydata(), 100 * study.sensed_m)
    assert np.array_equal(lines["cuff, as read"].get_ydata(), study.reading_mmHg)
    assert np.array_equal(lines["cuff, corrected for height"].get_ydata(), study.corrected_mmHg)
    assert np.array_equal(error.lines[1].get_ydata(), study.reading_mmHg - study.heart_mmHg)
    assert np.array_equal(error.lines[2].get_ydata(), study.corrected_mmHg - study.heart_mmHg)
    assert figure.get_suptitle() == "up and down"


def test_it_says_what_ten_centimetres_do(study):
    (text,) = height_figure(study, "").axes[2].texts
    assert text.get_text() == "10 cm up: −ρgh = −7.76 mmHg\nas read −7.76, corrected +0.08"


def test_its_words_are_means_over_the_hold(study):
    """Five beats lie within the hold, a second from its ends: one that is 10 mmHg off moves their mean by 2."""
    off = study.reading_mmHg + np.where(study.beat_s == 10.0, 10.0, 0.0)
    (text,) = height_figure(study._replace(reading_mmHg=off), "").axes[2].texts
    assert "as read −5.76" in text.get_text()


def test_axes_have_labels_with_units(study):
    axes = height_figure(study, "").axes
    assert [a.get_ylabel() for a in axes] == [
        "cuff above heart (cm)", "mean of each beat (mmHg)", "reading − heart (mmHg)"
    ]
    assert axes[-1].get_xlabel() == "time (s)"


@pytest.mark.filterwarnings("error")
def test_it_can_be_saved(study, tmp_path):
    save(height_figure(study, "title"), tmp_path / "height.png")
    assert (tmp_path / "height.png").read_bytes().startswith(b"\x89PNG")
