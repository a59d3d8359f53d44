"""Signs of drift in a stretch of clamp."""
import numpy as np
import pytest

from calibrate.drift_signs import band_rms, signs_of
from calibrate.protocol import Found, Instrument, Seen
from calibrate.schedule import Beats

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)
TIME = np.arange(5000) * 0.001


@pytest.mark.parametrize(("frequency", "inside"), [(100.0, True), (40.0, False), (200.0, False)])
def test_only_the_band_counts(frequency: float, inside: bool) -> None:
    found = band_rms(3.0 * np.sin(2 * np.pi * frequency * TIME), 72.0, 144.0, 0.001)
    assert found == pytest.approx(3.0 / np.sqrt(2.0) if inside else 0.0, abs=0.02)


def test_signs_scale_as_they_say() -> None:
    found, beats = Found(0.5, 0.003, 90.0, 1.0), Beats(6.0, 0.8, 120.0, 75.0, 90.0)
    reading = 90.0 + 20.0 * np.sin(2 * np.pi * 1.25 * TIME)
    quiet, loud = (
        signs_of(Seen(0.5 + a * np.sin(2 * np.pi * 100.0 * TIME), reading, TIME * 0.0, TIME * 0.0), found, beats,
                 INSTRUMENT) for a in (1e-4, 2e-4))
    assert loud.loop_noise == pytest.approx(2.0 * quiet.loop_noise)
    assert loud.residual == pytest.approx(2.0 * quiet.residual) and loud.pulse_mmHg == 45.0
    assert quiet.with_previous(loud).loop_noise == pytest.approx(1.5 * quiet.loop_noise)
