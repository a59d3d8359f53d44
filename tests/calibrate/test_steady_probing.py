"""The schedule that never interrupts: its filter, and a finger whose tone rises."""
import numpy as np
import pytest

from calibrate.display import shown_waveform
from calibrate.probing import Vertex
from calibrate.probing_search import ProbingSearch
from calibrate.protocol import Found
from calibrate.schedule import Diary
from calibrate.steady_probing import SteadyProbing, Track
from experiments.coupled import Inputs
from experiments.instrument import instrument_of
from experiments.rig import load_rig
from experiments.session import OutOfTime, Session
from plant.artery import unloaded_pressure
from plant.pressure_synthetic import SyntheticPressure, synthesise

START = Track.at(Found(0.5, 0.0025, 90.0, 1.0, 15.0))


def seen(track: Track, offset_mmHg: float) -> Vertex:
    depth = track.depth + offset_mmHg * track.relative_slope
    return Vertex(depth, track.relative_slope, 15.0, 0.3, 0.02, track.depth, 3.0 * track.relative_slope)


@pytest.mark.parametrize("offset", [-2.0, 2.0])
def test_one_look_moves_the_level_towards_the_vertex(offset: float) -> None:
    after = START.see(seen(START, offset), SteadyProbing())
    assert 0.0 < (after.depth - START.depth) / (offset * START.relative_slope) <= 1.0


def test_a_steady_drift_is_learnt() -> None:
    track, truth = START, START.depth
    for _ in range(60):
        truth += 0.4 * START.relative_slope
        offset = (truth - track.depth) / track.relative_slope
        track = track.see(seen(track, offset), SteadyProbing())
    assert track.drift / track.relative_slope == pytest.approx(0.4, rel=0.2)
    assert abs(truth - track.depth) / track.relative_slope < 0.6


def test_coasting_knows_less_and_slows_down() -> None:
    moving = START._replace(drift=0.01)
    after = moving.coast(SteadyProbing())
    assert abs(after.drift) < abs(moving.drift) and after.level_variance > moving.level_variance


def test_a_constricting_finger_is_followed_without_interruption() -> None:
    rig = load_rig("wrist")
    instrument = instrument_of(rig)
    trace = synthesise(SyntheticPressure(), 0.001, 110.0, 2)
    ticks = len(trace.pressure_mmHg)
    tone = np.clip((np.arange(ticks) * 0.001 - 35.0) / 60.0, 0.0, 1.0) * 0.6
    session = Session(rig, Inputs(trace.pressure_mmHg, tone, np.full(ticks, rig.plant.light.ambient)), 1, 5)
    diary, shown = Diary(), []
    program = SteadyProbing().program(instrument, ProbingSearch(), diary)
    request = next(program)
    with pytest.raises(OutOfTime):
        while True:
            answer = session.ask(request, instrument)
            shown.append(shown_waveform(request, answer, instrument))
            request = program.send(answer)
    assert [e.what for e in diary.entries] == ["search"]
    wave = np.concatenate(shown)
    p0 = np.asarray(unloaded_pressure(rig.plant.artery, tone[: len(wave)]))  # type: ignore[arg-type]
    error = wave - (trace.pressure_mmHg[: len(wave)] - p0)
    assert np.all(np.isfinite(wave[32_000:]))
    slow = np.mean(error[40_000 : len(error) // 5000 * 5000].reshape(-1, 5000), axis=1)
    assert np.max(np.abs(slow)) < 3.0
