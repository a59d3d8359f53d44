import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.errors import InputError
from plant.finger.tone import ToneDrive
from plant.pressure.beats import beat_values, detect_beats
from plant.pressure.synthetic import STEADY, SyntheticPressure
from plant.scenarios.events import ArmOcclusion, HandMove, IrregularRhythm, Lamp, Stimulus, Waves
from plant.scenarios.scenario import SCENARIOS, Scenario, declaration, find_scenario, scenario_inputs
from plant.units import hydrostatic_mmHg

USUAL = SyntheticPressure()
REST = ToneDrive()
PERIOD = 2e-3
SECONDS = 120.0
WANTED = {"quiet", "cold", "cold_strong", "warm", "drug", "pain", "waves_weak", "waves_strong", "hand", "pressure",
          "irregular", "light"}


def made(name, pressure=USUAL, seconds=SECONDS, seed=3, tone=REST, ambient=0.02, period=PERIOD):
    return scenario_inputs(name, pressure, tone, ambient, period, seconds, seed)


def span(samples, first, last, period=PERIOD):
    return samples[round(first / period) : round(last / period)]


def test_all_that_were_asked_for_are_there():
    assert set(SCENARIOS) >= WANTED and all(name == s.name for name, s in SCENARIOS.items())


@pytest.mark.parametrize("name", SCENARIOS)
def test_each_says_what_is_published_and_what_is_invented(name):
    story = SCENARIOS[name]
    assert story.about and story.published and story.invented
    lines = declaration(story)
    assert lines[1].startswith("published: ") and lines[2].startswith("invented: ")
    assert len(lines) == 3 + sum(len(event) for event in story.events)


@pytest.mark.parametrize("name", SCENARIOS)
def test_each_is_made_whole_and_repeatable(name):
    """Arrays of the tick grid, finite, within what the plant is made for; same seed, same bits; marks in order."""
    first, again, other = made(name), made(name), made(name, seed=4)
    samples = first[:5]
    assert all(len(s) == round(SECONDS / PERIOD) + 1 and s.dtype == np.float64 for s in samples)
    assert all(np.all(np.isfinite(s)) and s.flags.c_contiguous and s.flags.writeable for s in samples)
    assert all(np.array_equal(a, b) for a, b in zip(samples, again[:5], strict=True))
    assert first.marks == again.marks and first.notes == again.notes
    assert not np.array_equal(first.arterial_mmHg, other.arterial_mmHg)
    assert not np.array_equal(first.tone, other.tone)
    assert np.all((first.arterial_mmHg >= 0) & (first.arterial_mmHg < 250)) and np.all(first.ambient >= 0)
    assert np.all((first.tone >= -2) & (first.tone <= 3))
    assert all(0 <= time <= SECONDS for time, _ in first.marks) and first.marks == sorted(first.marks)
    assert np.max(np.abs(np.diff(first.arterial_mmHg))) < 5.0  # no jumps: an upstroke takes 2.5 mmHg in 2 ms at most


@given(st.sampled_from(sorted(SCENARIOS)), st.floats(60, 200), st.floats(0.35, 0.7), st.floats(40, 150),
       st.integers(0, 10**6))
@settings(max_examples=25)
def test_any_finger_can_live_through_any_scenario(name, systolic, ratio, rate, seed):
    """No pressure below zero, and a pulse in every one of them but the shut arm."""
    finger = USUAL._replace(systolic_mmHg=systolic, diastolic_mmHg=ratio * systolic, rate_per_min=rate)
    found = made(name, finger, 40.0, seed, period=5e-3)
    assert np.all(found.arterial_mmHg >= 0) and np.all(np.isfinite(found.arterial_mmHg))
    assert np.mean(found.heart_mmHg) > 0.4 * systolic * ratio
    if name != "occlusion":
        least = min(np.ptp(span(found.arterial_mmHg, t, t + 4, 5e-3)) for t in range(0, 36, 4))
        assert least > 0.15 * (1 - ratio) * systolic


def test_the_same_beats_in_every_scenario():
    """Scenarios differ by their story only: before it begins, nothing differs."""
    quiet, cold, light = (made(n) for n in ("quiet", "cold", "light"))
    start = round(0.15 * SECONDS / PERIOD)
    assert np.array_equal(quiet.arterial_mmHg[:start], cold.arterial_mmHg[:start])
    assert np.array_equal(quiet.tone[:start], cold.tone[:start])
    assert np.array_equal(quiet.arterial_mmHg, light.arterial_mmHg) and np.array_equal(quiet.tone, light.tone)


@pytest.mark.parametrize(
    ("name", "tone", "pressure", "during"),
    [("cold", 1, 1, (0.4, 0.5)), ("cold_strong", 1, 1, (0.4, 0.5)), ("warm", -1, -1, (0.8, 1.0)),
     ("drug", -1, -1, (0.45, 0.55)), ("pain", 1, 1, (0.31, 0.35))],
)
def test_tone_and_pressure_go_the_way_they_are_said_to(name, tone, pressure, during):
    quiet, found = made("quiet"), made(name)
    first, last = (share * SECONDS for share in during)
    assert np.mean(span(tone * (found.tone - quiet.tone), first, last)) > 0.4
    assert np.mean(span(pressure * (found.heart_mmHg - quiet.heart_mmHg), first, last)) > 2.0
    if name != "warm":
        assert np.mean(np.abs(span(found.tone - quiet.tone, 0.98 * SECONDS, SECONDS))) < 0.3


def test_five_minutes_and_an_hour_tell_the_same_story():
    short, long = made("pressure", seconds=300.0, period=1e-2), made("pressure", seconds=3600.0, period=1e-2)
    assert [w for _, w in short.marks] == [w for _, w in long.marks]
    assert [t / 300 for t, _ in short.marks] == pytest.approx([t / 3600 for t, _ in long.marks])
    assert short.notes and not long.notes
    for first, last in ((0.3, 0.4), (0.75, 0.85)):
        one, other = (np.mean(span(f.arterial_mmHg, first * s, last * s, 1e-2))
                      for f, s in ((short, 300.0), (long, 3600.0)))
        assert one == pytest.approx(other, abs=4.0)


def test_pressure_falls_and_rises():
    found = made("pressure", STEADY, 600.0)
    mean = float(np.mean(made("quiet", STEADY, 600.0).arterial_mmHg))
    low, high = (np.mean(span(found.arterial_mmHg, a, b)) for a, b in ((200, 240), (460, 510)))
    assert low < mean - 20 and high > mean + 18


def test_the_hand_moves_the_finger_and_not_the_heart():
    found, quiet = made("hand"), made("quiet")
    assert np.array_equal(found.heart_mmHg, quiet.heart_mmHg)
    assert found.heart_mmHg - found.arterial_mmHg == pytest.approx(hydrostatic_mmHg(1.0) * found.height_m)
    assert np.max(found.height_m) == pytest.approx(0.4) and np.min(found.height_m) == pytest.approx(-0.3)
    assert quiet.heart_mmHg is quiet.arterial_mmHg and not np.any(quiet.height_m)


def test_the_hand_goes_less_high_at_a_low_pressure():
    found = made("hand", USUAL._replace(systolic_mmHg=70.0, diastolic_mmHg=45.0))
    assert 0.0 < np.max(found.height_m) < 0.2 and "lowered to" in " ".join(found.notes)


def test_rhythm_is_irregular_for_half_of_the_time_only():
    pressure = STEADY._replace(rate_per_min=75.0)
    found = made("irregular", pressure, 240.0)
    onsets = detect_beats(found.arterial_mmHg, PERIOD) * PERIOD
    spread = {}
    for word, first, last in (("before", 2, 58), ("during", 62, 178), ("after", 182, 238)):
        interval = np.diff(onsets[(onsets > first) & (onsets < last)])
        spread[word] = np.std(interval) / np.mean(interval)
        assert np.mean(interval) == pytest.approx(0.8, rel=0.1)
    assert spread["before"] < 0.02 and spread["after"] < 0.02 and spread["during"] > 0.15


def test_an_irregular_rhythm_that_does_not_end():
    story = Scenario("mine", "a", "b", "c", (IrregularRhythm(start=0.5, end=1.0),))
    onsets = detect_beats(made(story, STEADY).arterial_mmHg, PERIOD) * PERIOD
    first, second = (np.diff(onsets[(onsets > a) & (onsets < b)]) for a, b in ((2, 58), (62, 118)))
    assert np.std(first) < 0.02 * np.mean(first) and np.std(second) > 0.1 * np.mean(second)


def test_light_steps_flickers_and_drifts():
    found, period = made("light", period=1e-3), 1e-3
    lamp = Lamp()
    before, during, after = (span(found.ambient, a, b, period) for a, b in ((35.0, 35.5), (37.0, 37.5), (73.0, 73.5)))
    assert np.mean(during) - np.mean(before) == pytest.approx(lamp.level, abs=3e-4)
    assert np.ptp(during) == pytest.approx(2 * lamp.level * lamp.flicker, rel=0.1) and np.ptp(before) < 1e-4
    assert np.mean(after) == pytest.approx(0.02 + 0.01 * 73.25 / SECONDS, abs=1e-5)
    density = np.abs(np.fft.rfft(during - np.mean(during)))
    assert np.argmax(density) / 0.5 == pytest.approx(100.0)
    assert np.ptp(span(made("light", period=1e-2).ambient, 40, 41, 1e-2)) < 2e-4  # too coarse to show flicker


def test_the_shut_arm_stops_the_pulse_in_the_finger_only():
    found = made("occlusion")
    shut = span(found.arterial_mmHg, 50, 59)
    assert np.ptp(shut) < 8.0 and np.max(shut) < 35 and np.ptp(span(found.heart_mmHg, 50, 59)) > 40
    assert np.ptp(span(found.arterial_mmHg, 62, 66)) > 40


def test_a_lone_wave_of_both_comes_from_the_finger_itself():
    """What the finger's own pressure and tone say of their waves is kept, as one wave."""
    weak, strong = (made("quiet", USUAL._replace(wave_mmHg=p), tone=ToneDrive(wave=t), seconds=300.0, period=1e-2)
                    for p, t in ((0.0, 0.0), (6.0, 0.4)))
    tone, pressure = (np.asarray(getattr(strong, k) - getattr(weak, k)) for k in ("tone", "arterial_mmHg"))
    assert np.std(tone) == pytest.approx(0.4 / np.sqrt(2), rel=0.25)
    assert np.std(pressure) == pytest.approx(6 / np.sqrt(2), rel=0.25)
    lag = round(2.5 / 1e-2)
    assert np.corrcoef(tone[:-lag], pressure[lag:])[0, 1] > 0.99


def test_systolic_and_diastolic_move_by_what_is_declared():
    story = Scenario("mine", "a", "b", "c", (Stimulus("push", 0.3, 1.0, 0.0, 20.0, -10.0, 1.0, 1.0, 1.0, 1.0),))
    pressure = STEADY._replace(systolic_mmHg=120.0)
    moved, quiet = made(story, pressure), made("quiet", pressure)
    onsets = detect_beats(quiet.heart_mmHg, PERIOD)
    late = onsets[onsets > 60 / PERIOD]
    old, new = (beat_values(f.heart_mmHg, late, PERIOD) for f in (quiet, moved))
    assert new.systolic_mmHg - old.systolic_mmHg == pytest.approx(20.0, abs=1.0)
    assert new.diastolic_mmHg - old.diastolic_mmHg == pytest.approx(-10.0, abs=1.0)


def test_own_events_may_be_put_together():
    story = Scenario("mine", "a", "b", "c", (Waves(0.0, 0.0), HandMove(0.1, 0.5, 1.0), ArmOcclusion(start=0.1)))
    assert find_scenario(story) is story
    assert [word for _, word in made(story).marks] == ["arm shut", "arm opened", "hand 10 cm up"]


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: made("holiday"), "scenario 'holiday' is not known; use one of quiet, cold"),
        (lambda: made("quiet", ambient=1.5), "ambient = 1.5"),
        (lambda: made("quiet", ambient=float("nan")), "ambient = nan"),
        (lambda: made("quiet", seconds=0.0), "seconds = 0"),
        (lambda: made("quiet", period=1.0), "period_s = 1"),
        (lambda: made("quiet", USUAL._replace(systolic_mmHg=70.0)), "at least 5 mmHg above"),
        (lambda: made(Scenario("mine", "", "", "", (HandMove(2.0),))), "scenario mine: HandMove.height_m = 2 m"),
        (lambda: made(Scenario("mine", "", "", "", (Lamp(0.6, 0.5),))), "Lamp.end = 0.5 must be after start = 0.6"),
    ],
)
def test_bad_input(call, told):
    with pytest.raises(InputError) as caught:
        call()
    assert told in str(caught.value) and "\n" not in str(caught.value)
