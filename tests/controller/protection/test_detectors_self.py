"""Detectors by which the instrument watches itself: each fires, stays silent, and is silenced by name."""

import pytest

from controller.protection.detectors_self import (
    ConverterState,
    ConverterTest,
    EmitterMonitor,
    EmitterState,
    Sequence,
    SequenceState,
    SettingsCheck,
    SettingsState,
    converter_test_step,
    emitter_monitor_step,
    sequence_step,
    settings_check_step,
)
from tests.controller.protection.detector_bench import QUIET, fired_at

LIT = EmitterState(1.0, 1.0, 0, False)


def noisy(k, level):
    """Light of the emitter with the noise of its monitor."""
    return {"emitter": level + 0.004 * ((k * 37) % 11 - 5) / 5.0}


CASES = {
    "other settings": (settings_check_step, SettingsCheck(expected=3), SettingsState(False),
                       lambda k: {"settings": 4}, lambda k: {"settings": 3}),
    "no search": (sequence_step, Sequence(), SequenceState(10_000, False), lambda k: {"searched": False}, lambda k: {}),
    "too early": (sequence_step, Sequence(), SequenceState(0, False),
                  lambda k: {"clamped_ticks": 1000 * max(k - 3000, 0)},
                  lambda k: {"clamped_ticks": 1000 * max(k - 7000, 0)}),
    "not filled": (sequence_step, Sequence(), SequenceState(0, False),
                   lambda k: {"clamped_ticks": 1000 * max(k - 7000, 0), "reading_mmHg": 5.0},
                   lambda k: {"clamped_ticks": 1000 * max(k - 7000, 0)}),
    "emitter fades": (emitter_monitor_step, EmitterMonitor(), LIT, lambda k: noisy(k, 1.0 - 1e-5 * k),
                      lambda k: noisy(k, 1.0)),
    "emitter brightens": (emitter_monitor_step, EmitterMonitor(), LIT, lambda k: {"emitter": 1.05},
                          lambda k: {"emitter": 1.02}),
    "converter": (converter_test_step, ConverterTest(), ConverterState(0, False), lambda k: {"converter_error": 0.01},
                  lambda k: {"converter_error": 0.001}),
    "converter for a moment": (converter_test_step, ConverterTest(), ConverterState(0, False),
                               lambda k: {"converter_error": 0.5}, lambda k: {"converter_error": 0.5 * (k % 5 == 0)}),
}


@pytest.mark.parametrize("name", CASES)
def test_it_fires_and_stays_silent(name):
    step, part, start, wrong, right = CASES[name]
    assert fired_at(step, part, start, 8000, wrong) >= 0
    assert fired_at(step, part, start, 8000, right) == -1
    assert fired_at(step, part._replace(enabled=False), start, 8000, wrong) == -1


def test_without_an_expected_sum_nothing_is_compared():
    assert fired_at(settings_check_step, SettingsCheck(), SettingsState(False), 10, lambda k: {"settings": 7}) == -1


def test_an_emitter_is_held_against_the_start_of_the_clamp_and_not_against_its_youth():
    """At 60 % of its first light it is as good as new, when the set point was found with it."""
    start = emitter_monitor_step(EmitterMonitor(), EmitterState(-1.0, 0.0, 0, False),
                                 QUIET._replace(clamped_ticks=0, emitter=0.6))
    assert start.level == start.start == 0.6
    assert fired_at(emitter_monitor_step, EmitterMonitor(), start, 2000, lambda k: {"emitter": 0.6}) == -1
    assert fired_at(emitter_monitor_step, EmitterMonitor(), start, 2000, lambda k: {"emitter": 0.57}) >= 0
