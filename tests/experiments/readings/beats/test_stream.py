import numpy as np
import pytest

from experiments.readings.beats.reasons import Reason
from experiments.readings.beats.stream import BeatStream, beats_of, columns
from plant.circulation.person_name import named_record

RECORD = named_record("person:45f,ectopic_share=0.05", 2e-3, 60.0, 1)
PRESSURE = RECORD.finger_mmHg
CONDITION = np.zeros(len(PRESSURE), np.uint8)
CONDITION[10_000:12_500] = int(Reason.SEARCH)
CONDITION[20_000:20_250] = int(Reason.GAP)


@pytest.mark.parametrize("size", [50, 137, 9_999])
def test_pieces_give_the_bits_of_the_whole(size: int) -> None:
    stream, given = BeatStream(2e-3), []
    for first in range(0, len(PRESSURE), size):
        given += stream.push(PRESSURE[first : first + size], CONDITION[first : first + size])
    pieces, whole = columns([*given, *stream.finish()]), beats_of(PRESSURE, 2e-3, CONDITION)
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(pieces, whole, strict=True))


def test_no_value_is_taken_across_a_gap() -> None:
    found = beats_of(PRESSURE, 2e-3, CONDITION)
    cut = found.where((found.reasons & int(Reason.SEARCH | Reason.GAP)) != 0)
    assert [Reason(int(r)).words for r in cut.reasons] == ["search under way", "gap"]
    assert np.all(np.isnan(cut.systolic_mmHg)) and np.all(np.isnan(cut.interval_s))
    ends = found.onset_s + found.interval_s
    for begin, end in ((20.0, 25.0), (40.0, 40.5)):
        assert not np.any((found.onset_s < end) & (ends > begin))
    wild = PRESSURE.copy()
    wild[CONDITION != 0] = np.nan  # whatever is in a gap, nobody looks
    again = beats_of(wild, 2e-3, CONDITION)
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(found, again, strict=True))


def test_ectopic_beats_are_told_and_the_others_count() -> None:
    found = beats_of(PRESSURE, 2e-3)
    true = RECORD.beats.opening_s[:-1][RECORD.beats.ectopic]
    true = true[(true > 3.0) & (true < 58.0)]
    told = found.onset_s[found.reasons == int(Reason.ECTOPIC)]
    assert len(true) >= 3
    for time in true:  # the foot comes to the finger within 0.2 s
        assert np.any((told > time) & (told < time + 0.25))
    assert np.mean(found.counts) > 0.75 and not np.any(found.reasons & int(Reason.NOISE))


def test_values_are_those_of_the_record() -> None:
    found = beats_of(PRESSURE, 2e-3)
    inside = slice(round(found.onset_s[0] / 2e-3), round((found.onset_s[-1] + found.interval_s[-1]) / 2e-3))
    mean = np.average(found.mean_mmHg, weights=found.interval_s)
    assert mean == pytest.approx(np.mean(PRESSURE[inside]), abs=0.05)
    assert found.pulse_mmHg == pytest.approx(found.systolic_mmHg - found.diastolic_mmHg)
    at = np.rint((found.onset_s + found.peak_s) / 2e-3).astype(int)
    assert PRESSURE[at] == pytest.approx(found.systolic_mmHg)


def test_nothing_in_nothing_out() -> None:
    assert len(beats_of(np.full(5000, 80.0), 2e-3).onset_s) == 0
    assert len(beats_of(PRESSURE, 2e-3, np.full(len(PRESSURE), int(Reason.ALARM), np.uint8)).onset_s) == 0
