"""The waveform that the instrument shows: its reading in the clamp, less what it has itself put on the set point."""
from __future__ import annotations

import numpy as np

from calibrate.protocol import Clamp, Instrument, Request, Samples, Seen
from calibrate.search.probing import window_ticks


def shown_waveform(request: Request, seen: Seen, instrument: Instrument) -> Samples:
    """What is shown during a request [mmHg], one sample a tick; NaN where there is no waveform.

    The slow sweep is subtracted as asked; of the tone, what the reading itself holds at its frequency.
    """
    if not isinstance(request, Clamp) or not request.shown:
        return np.full(len(seen.reading_mmHg), np.nan)
    shown = seen.reading_mmHg - np.broadcast_to(request.sweep_mmHg, np.shape(seen.reading_mmHg))
    if request.tone_mmHg > 0.0 and len(shown) > window_ticks(instrument):
        shown = shown - tone_in(shown, instrument)
    return np.asarray(shown)


def tone_in(signal: Samples, instrument: Instrument) -> Samples:
    """The part of a signal at the probing frequency, its amplitude and phase free to move from window to window."""
    ticks = window_ticks(instrument)
    window = np.hanning(ticks + 2)[1:-1]
    window /= np.sum(window)
    turn = np.exp(-2j * np.pi * instrument.probe_Hz * instrument.period_s * np.arange(len(signal)))
    starts = np.arange(0, len(signal) - ticks + 1, max(ticks // 4, 1))
    pieces = np.lib.stride_tricks.sliding_window_view((signal - np.mean(signal)) * turn, ticks)[starts]
    middles, ticks_all = starts + 0.5 * (ticks - 1), np.arange(len(signal))
    found = pieces @ window
    amplitude = np.interp(ticks_all, middles, found.real) + 1j * np.interp(ticks_all, middles, found.imag)
    return np.asarray(2.0 * (amplitude * turn.conj()).real)
