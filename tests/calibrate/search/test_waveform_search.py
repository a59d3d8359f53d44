"""The search with the recorded waveform, in the loop on the wrist rig and on signals made for it."""
import numpy as np
import pytest

from calibrate.protocol import Clamp, Found, Hold, Instrument, Seen
from calibrate.search.searches import ClassroomSearch
from calibrate.search.waveform_search import WaveformSearch, after_settling, holds_of, joined, overheard
from experiments.rigs.rig import load_rig
from experiments.simulation.instrument import instrument_of
from experiments.simulation.session import Session
from experiments.subjects.finger import finger_inputs, on_finger
from experiments.subjects.population import sample_fingers

TICK = 1e-3


@pytest.fixture(scope="module")
def errors() -> dict[str, list[tuple[float, float]]]:
    """(error of the set point as transmural pressure, its SD by the search) of six fingers, by both searches [mmHg]."""
    rig = load_rig("wrist")
    instrument = instrument_of(rig)
    found: dict[str, list[tuple[float, float]]] = {"classroom": [], "waveform": []}
    for finger in sample_fingers(6, "mixed", 9):
        own = on_finger(rig, finger)
        inputs = finger_inputs(own, finger, 45.0)
        for name, search in (("classroom", ClassroomSearch()), ("waveform", WaveformSearch())):
            session = Session(own, inputs, finger.seed, 5)
            outcome = session.follow(search.search(instrument), instrument)
            assert isinstance(outcome, Found)
            session.follow(held(outcome), instrument)
            rows = np.concatenate(session.blocks)
            artery = own.plant.artery
            unloaded = artery.unloaded_mmHg + artery.tone_shift_mmHg * inputs.tone[: len(rows)]
            error = rows[:, 0] - rows[:, 3] - unloaded
            found[name].append((float(np.mean(error[-1000:])), outcome.sd_mmHg))
    return found


def held(outcome: Found):
    """A plan that only clamps."""
    yield Clamp(outcome.set_point, outcome.light_slope, 2.0)
    return outcome


def test_nearer_than_the_classroom_rule(errors: dict[str, list[tuple[float, float]]]) -> None:
    """The classroom rule misses by several mmHg; the recorded waveform takes at least two thirds of that away."""
    classroom, waveform = (np.array([e for e, _ in errors[k]]) for k in ("classroom", "waveform"))
    assert np.median(np.abs(waveform)) < np.median(np.abs(classroom)) / 3.0
    assert np.max(np.abs(waveform)) < 6.0


def test_as_sure_as_it_says(errors: dict[str, list[tuple[float, float]]]) -> None:
    assert all(abs(error) < 3.0 * sd and 0.4 < sd < 4.0 for error, sd in errors["waveform"])


def seen(ticks: int, value: float = 0.5) -> Seen:
    return Seen(*(np.full(ticks, v) for v in (value, 80.0, 0.0, 0.0)))


def test_holds_keep_their_place_in_time() -> None:
    log = [(Hold(40.0, 2.0), seen(2000)), (Clamp(0.5, 1e-3, 1.0), seen(1000)), (Hold(80.0, 2.0), seen(2000))]
    holds, end = holds_of(log, 0.4, TICK)
    assert [h.start_s for h in holds] == pytest.approx([0.4, 3.4])
    assert [len(h.depth) for h in holds] == [1600, 1600]
    assert end == pytest.approx(5.0)


def test_depth_is_minus_the_logarithm_of_light() -> None:
    assert after_settling(seen(100, np.exp(-2.0)), 0.0, 0.05, TICK).depth == pytest.approx(np.full(50, 2.0))


def test_joined_pieces() -> None:
    assert len(joined([seen(100), seen(50)]).reading_mmHg) == 150


def test_overhearing_changes_nothing() -> None:
    def plan():
        first = yield Hold(40.0, 1.0)
        yield Hold(80.0, 1.0)
        return len(first.light)

    log: list = []
    listened = overheard(plan(), log)
    assert next(listened) == Hold(40.0, 1.0)
    assert listened.send(seen(7)) == Hold(80.0, 1.0)
    with pytest.raises(StopIteration) as end:
        listened.send(seen(3))
    assert end.value.value == 7
    assert [len(s.light) for _, s in log] == [7, 3]


def test_dark_light_is_declared() -> None:
    """A light at the end of its converter is a named failure, not a set point."""
    instrument = Instrument(TICK, 240.0, 2.0**-16, 0.5, 12.0, 1.0 + 0.0j)
    plan = WaveformSearch().search(instrument)
    request = next(plan)
    with pytest.raises(StopIteration) as end:
        while True:
            request = plan.send(seen(instrument.ticks(request.seconds), 1.0))
    assert end.value.value.reason == "light saturated"
