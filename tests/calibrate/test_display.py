"""What is shown: the reading less what the instrument has added itself."""
import numpy as np
import pytest

from calibrate.display import shown_waveform, tone_in
from calibrate.protocol import Clamp, Hold, Instrument, Seen

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)
TIME = np.arange(2500) * 0.001
PULSE = 90.0 + 20.0 * np.sin(2 * np.pi * 1.2 * TIME) + 6.0 * np.sin(2 * np.pi * 2.4 * TIME)
NONE = np.zeros(2500)


def test_sweep_and_tone_are_taken_off() -> None:
    sweep = 3.0 * np.sin(2 * np.pi * TIME / 2.5)
    reading = PULSE + sweep + 2.3 * np.sin(2 * np.pi * 36.0 * TIME + 0.8)
    shown = shown_waveform(Clamp(0.5, 0.003, 2.5, sweep, 2.0), Seen(NONE, reading, NONE, NONE), INSTRUMENT)
    left = (shown - PULSE)[200:-200]
    assert np.max(np.abs(left)) < 0.05 * 2.3


def test_a_sweep_alone_is_taken_off_exactly() -> None:
    sweep = 3.0 * np.sin(2 * np.pi * TIME / 2.5)
    shown = shown_waveform(Clamp(0.5, 0.003, 2.5, sweep), Seen(NONE, PULSE + sweep, NONE, NONE), INSTRUMENT)
    assert shown == pytest.approx(PULSE, abs=1e-12)


@pytest.mark.parametrize("request_", [Hold(90.0, 2.5), Clamp(0.5, 0.003, 2.5, shown=False)])
def test_no_waveform_is_no_number(request_: Hold | Clamp) -> None:
    assert np.all(np.isnan(shown_waveform(request_, Seen(NONE, PULSE, NONE, NONE), INSTRUMENT)))


def test_a_pulse_holds_next_to_no_tone() -> None:
    assert np.max(np.abs(tone_in(PULSE, INSTRUMENT))) < 0.05
