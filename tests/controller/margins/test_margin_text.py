"""Margins in words: units, and an unstable or unresolved loop that cannot be mistaken for a judged one."""
import math

import pytest

from controller.margins.margin_text import MOST_CROSSINGS, decibel, lines
from controller.margins.margins import GainCrossover, Margins, PhaseCrossover

GOOD = Margins(
    stable=True, unstable_closed_loop_poles=0, gain_margin=2.0, gain_margin_Hz=40.0, gain_reduction_margin=0.0,
    phase_margin_deg=50.0, crossover_Hz=20.0, delay_margin_s=50 / 360 / 20, delay_margin_ticks=50 / 360 / 20 / 1e-3,
    modulus_margin=0.5, modulus_margin_Hz=35.0, sensitivity_peak=2.0, bandwidth_Hz=33.0,
    gain_crossovers=(GainCrossover(20.0, 50.0),), phase_crossovers=(PhaseCrossover(40.0, 2.0),), period_s=1e-3,
    resolved=True,
)


def changed(**fields):
    return lines(Margins(**{**vars(GOOD), **fields}))


def test_a_stable_loop_line_by_line():
    """2 is 6.02 dB, 50° at 20 Hz is 6.944 ms, 0.5 is Ms 2."""
    assert lines(GOOD) == [
        "closed loop: stable", "gain margin: 6.02 dB (x 2) at 40 Hz", "gain reduction margin: no limit",
        "phase margin: 50.00° at the crossover of 20 Hz", "delay margin: 0.006944 s (6.944 samples)",
        "modulus margin: 0.5000 at 35 Hz (Ms 2.000, 6.02 dB)", "bandwidth: 33 Hz (-3 dB)",
    ]
    assert str(GOOD) == "\n".join(lines(GOOD))


def test_an_unstable_loop_says_so_first():
    text = changed(stable=False, unstable_closed_loop_poles=2, gain_margin=0.15, delay_margin_s=0.0,
                   bandwidth_Hz=math.nan)
    assert text[0].startswith("closed loop: UNSTABLE, 2 closed-loop poles") and "crossings, not margins" in text[0]
    assert any(line.startswith("gain margin: -16.48 dB") for line in text)
    assert "bandwidth: none (unstable)" in text


def test_contradicting_counts_and_a_coarse_grid_say_so():
    assert "UNKNOWN" in changed(stable=False, unstable_closed_loop_poles=-2)[0]
    assert "TOO COARSE" in changed(resolved=False)[1]


def test_what_has_no_limit_says_so():
    text = changed(gain_margin=math.inf, gain_margin_Hz=math.nan, phase_margin_deg=math.inf, crossover_Hz=math.nan,
                   delay_margin_s=math.inf, bandwidth_Hz=math.inf, gain_crossovers=(), phase_crossovers=())
    assert {"gain margin: no limit", "phase margin: no limit (no gain crossover)",
            "delay margin: no limit"} <= set(text)
    assert "bandwidth: closed loop stays above -3 dB over the whole band" in text
    assert not any("nan" in line or "inf" in line for line in text)


def test_continuous_loops_have_no_samples():
    assert not any("samples" in line for line in changed(period_s=0.0, delay_margin_ticks=math.nan))


def test_several_crossings_are_listed_and_many_are_counted():
    many = tuple(PhaseCrossover(10.0 * k, 2.0**k) for k in range(1, MOST_CROSSINGS + 4))
    text = changed(phase_crossovers=many, gain_crossovers=(GainCrossover(1.0, 90.0), GainCrossover(20.0, 50.0)))
    assert "all gain crossovers: 90.0° at 1 Hz, 50.0° at 20 Hz" in text
    assert text[-1].startswith("all phase crossovers: 6.02 dB at 10 Hz, 12.04 dB at 20 Hz") and "and 3 more" in text[-1]


@pytest.mark.parametrize(("factor", "text"), [(2.0, "6.02 dB"), (0.5, "-6.02 dB"), (1.0, "0.00 dB"), (math.inf, "none"),
                                              (0.0, "none")])
def test_decibel(factor, text):
    assert decibel(factor) == text
