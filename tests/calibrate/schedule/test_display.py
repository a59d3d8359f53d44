"""What is shown: the reading less what the instrument has added itself."""
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.protocol import Clamp, Hold, Instrument, Request, Seen, Vent
from calibrate.schedule.display import shown_waveform, tone_in
from calibrate.search.probing import window_ticks

TIME = np.arange(2500) * 0.001
SWEEP = 3.0 * np.sin(2 * np.pi * TIME / 2.5)
WAVE = 90.0 + 20.0 * np.sin(2 * np.pi * 1.2 * TIME) + 6.0 * np.sin(2 * np.pi * 2.4 * TIME)
NONE = np.zeros(2500)


def show(request: Request, reading: np.ndarray, instrument: Instrument) -> np.ndarray:
    none = np.zeros(len(reading))
    return shown_waveform(request, Seen(none, reading, none, none), instrument)


def tone(amplitude: float, phase: float) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * 36.0 * TIME + phase)


@settings(max_examples=30)
@given(st.floats(0.2, 6.0), st.floats(0.0, 6.3))
def test_a_tone_of_any_size_and_phase_is_taken_off(instrument: Instrument, amplitude: float, phase: float) -> None:
    """Over 95 % of it, apart from half a window at each end, whatever the sweep; the request does not know its size."""
    shown = show(Clamp(0.5, 0.003, 2.5, SWEEP, 2.0), 90.0 + SWEEP + tone(amplitude, phase), instrument)
    inside = slice(window_ticks(instrument) // 2, -window_ticks(instrument) // 2)
    assert np.std((shown - 90.0)[inside]) < 0.05 * amplitude / np.sqrt(2.0)
    assert np.max(np.abs(shown - 90.0)) < 0.2 * amplitude + 0.05


def test_a_tone_that_fades_is_followed(instrument: Instrument) -> None:
    """Its amplitude changes with the artery's slope along the sweep."""
    reading = 90.0 + (2.0 + 0.6 * np.sin(2 * np.pi * TIME / 2.5)) * tone(1.0, 0.4)
    shown = show(Clamp(0.5, 0.003, 2.5, 0.0, 2.0), reading, instrument)
    assert np.std((shown - 90.0)[100:-100]) < 0.05 * np.std(reading)


@pytest.mark.parametrize("rate", [40.0, 75.0, 150.0])
def test_a_pulse_is_left_as_it_was(
    instrument: Instrument, pulse: Callable[..., np.ndarray], rate: float
) -> None:
    """Of a pulse of 45 mmHg nothing above a few tenths of a mmHg is lost with the tone."""
    wave = 70.0 + 45.0 * pulse(2500, 100, 60.0 / rate)
    shown = show(Clamp(0.5, 0.003, 2.5, SWEEP, 2.0), wave + SWEEP + tone(2.3, 0.8), instrument)
    left = (shown - wave)[100:-100]
    assert np.std(left) < 0.3 and np.max(np.abs(left)) < 0.9
    assert abs(np.max(shown[100:-100]) - np.max(wave[100:-100])) < 0.6


@given(st.floats(-20.0, 20.0))
def test_a_sweep_alone_is_taken_off_exactly(instrument: Instrument, size: float) -> None:
    for sweep in (size * SWEEP, size):
        assert show(Clamp(0.5, 0.003, 2.5, sweep), WAVE + sweep, instrument) == pytest.approx(WAVE, abs=1e-9)
        followed = Clamp(0.5, 0.003, 2.5, sweep, course_mmHg=SWEEP)  # a course is where the artery is: it is shown
        assert show(followed, WAVE + sweep, instrument) == pytest.approx(WAVE, abs=1e-9)


def test_a_clamp_without_additions_is_the_reading(instrument: Instrument) -> None:
    assert np.array_equal(show(Clamp(0.5, 0.003, 2.5), WAVE, instrument), WAVE)


def test_what_is_shown_is_never_the_reading_itself(instrument: Instrument) -> None:
    """Whoever changes what is shown must not change what was seen."""
    reading = WAVE.copy()
    show(Clamp(0.5, 0.003, 2.5), reading, instrument)[:] += 1.0
    assert np.array_equal(reading, WAVE)


@pytest.mark.parametrize("request_", [Hold(90.0, 2.5), Vent(2.5), Clamp(0.5, 0.003, 2.5, shown=False),
                                      Clamp(0.5, 0.003, 2.5, SWEEP, 2.0, shown=False)])
def test_no_waveform_is_no_number(instrument: Instrument, request_: Request) -> None:
    shown = show(request_, WAVE, instrument)
    assert len(shown) == 2500 and np.all(np.isnan(shown))


def test_a_clamp_shorter_than_a_window_is_shown_with_its_tone(instrument: Instrument) -> None:
    reading = 90.0 + tone(2.0, 0.0)[:100]
    assert np.array_equal(show(Clamp(0.5, 0.003, 0.1, 0.0, 2.0), reading, instrument), reading)


def test_the_tone_is_only_at_its_frequency(instrument: Instrument) -> None:
    assert np.max(np.abs(tone_in(WAVE, instrument))) < 0.05
    assert tone_in(tone(2.0, 1.0), instrument)[100:-100] == pytest.approx(tone(2.0, 1.0)[100:-100], abs=0.02)
    assert np.max(np.abs(tone_in(2.0 * np.sin(2 * np.pi * 72.0 * TIME), instrument))) < 0.02
