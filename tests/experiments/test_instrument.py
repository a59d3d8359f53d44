"""What a rig's firmware knows of its own hardware."""
import pytest

from experiments.instrument import first_rise_s, instrument_of
from experiments.rig import load_rig


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_the_tone_sits_at_the_design_crossover(name: str) -> None:
    instrument = instrument_of(load_rig(name))
    assert {"wrist": 30.0, "cabinet": 14.0}[name] < instrument.probe_Hz < {"wrist": 42.0, "cabinet": 21.0}[name]
    assert abs(instrument.probe_ratio) == pytest.approx(1.0, abs=0.3)
    assert 0.0 < instrument.rise_s < 0.2


def test_a_larger_bladder_fills_more_slowly() -> None:
    small = load_rig("wrist")
    large = load_rig("wrist", ["cuff.volume_mL=6"])
    assert first_rise_s(large) > 1.4 * first_rise_s(small)
