"""Margins of what was found, with a band: the loop knows little of a volume that flows scale with."""
import numpy as np

from experiments.identify.outcome.margins import FIGURES, figures_of, margin_bands
from experiments.rigs.rig import load_rig, read_rig
from tests.experiments.identify.benches import identified
from tests.experiments.identify.outcome.accounts import account


def test_close_to_the_true_rigs():
    """Within one percent of the rig that was recorded, and a band much narrower than the volume's two percent."""
    _, true = identified("cabinet")
    expected = figures_of(load_rig("cabinet", [f"{k}={v}" for k, v in true.items()]))
    for band in account().bands:
        assert abs(band.value / expected[band.name] - 1.0) < 0.01 and 0.0 < band.sd < 0.01 * abs(band.value)
    assert [band.name for band in account().bands] == list(FIGURES)


def test_firmware_stays_that_of_the_rig_found():
    """What conductance and volume have in common leaves a loop with a flow inverse alone: two percent of volume move
    its margins by less than a tenth of one percent."""
    found, _ = identified("wrist")
    bands = margin_bands(found, read_rig("wrist"), count=8)
    assert found.held[0].sd / found.held[0].value == 0.02
    assert all(band.sd < 1e-3 * abs(band.value) for band in bands)


def test_the_same_seed_gives_the_same_band():
    found = account().found
    again = margin_bands(found, read_rig("cabinet"), count=6)
    assert np.array_equal([b.sd for b in again], [b.sd for b in account().bands])
