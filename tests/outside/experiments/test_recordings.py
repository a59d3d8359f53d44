"""The main job on recorded arterial pressures that nobody here made: the wrist rig must keep its requirements on both.

The pig's record comes inside the `aeon` package (Guillame-Bert & Dubrawski 2017; Wu & Keogh, arXiv:2009.13807), the
human one from the MIMIC-IV Waveform sample in wfdb-python (Moody et al., PhysioNet 2022); both [seen]. The limits are
our own requirements file: rms ≤ 2.5 mmHg, systolic error by beat ≤ 12 % of the pulse ± 1.5 mmHg with the set point
that the rig found itself, 6 dB, 45°, modulus margin 0.5. At the true set point a loop of 20 Hz still overshoots the
upstroke, by as much in every beat; the means and the feet of the beats stay within 0.5 mmHg.
"""
import os
from pathlib import Path

import numpy as np
import pytest

from experiments.check.check import Check, check
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import load_rig
from plant.pressure.beats import beat_values, detect_beats
from plant.pressure.record import load_record, pig_available

TOP = Path(__file__).resolve().parents[3]
SHARED = Path(os.environ.get("CUFFLOOP_SHARED_DATA", TOP.parent / "shared" / "data")) / "icu_mixedsignals.npz"
needs_pig = pytest.mark.skipif(not pig_available(), reason="no pig record: pip install --no-deps aeon==1.6.0")
needs_human = pytest.mark.skipif(not SHARED.exists(), reason=f"no human record at {SHARED}")


def judged(rig_name: str, record: str) -> Check:
    rig = load_rig(rig_name)
    return check(rig, load_record(record, rig.timing.period_s), load_requirements(default_requirements(rig_name)))


@pytest.fixture(scope="module")
def human_csv(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The human record's pressure as the CSV a user would have; its first samples are not numbers."""
    held = np.load(SHARED)
    pressure = held["abp_mmHg"][192:].astype(float)
    path = tmp_path_factory.mktemp("human") / "human.csv"
    table = np.column_stack([np.arange(len(pressure)) / float(held["fs_abp"]), pressure])
    np.savetxt(path, table, delimiter=",", header="time_s,pressure_mmHg", comments="", fmt="%.6f")
    return str(path)


def failures(result: Check) -> list[str]:
    return [f"{v.figure}.{v.limit}: {v.found:.4g} against {v.allowed:g}" for v in result.verdicts if not v.passed]


def mean_pulse(record: str) -> float:
    """Pulse pressure [mmHg] of a record, mean over its beats."""
    trace = load_record(record, 1e-3)
    beats = beat_values(trace.pressure_mmHg, detect_beats(trace.pressure_mmHg, trace.period_s), trace.period_s)
    return float(np.mean(beats.systolic_mmHg - beats.diastolic_mmHg))


@needs_pig
def test_wrist_on_the_pig() -> None:
    result = judged("wrist", "pig")
    assert failures(result) == [] and result.passed
    assert result.tracking is not None and result.tracking.ideal_beats.beats >= 25


@needs_human
def test_wrist_on_the_human_with_ectopic_beats_and_pauses(human_csv: str) -> None:
    result = judged("wrist", human_csv)
    assert failures(result) == [] and result.passed
    assert result.tracking is not None and result.tracking.ideal_beats.beats >= 300
    assert result.best is not None
    best, pulse = result.best.ideal_beats, mean_pulse(human_csv)
    assert abs(best.mean.mean_mmHg) < 0.5 and abs(best.diastolic.mean_mmHg) < 0.5
    assert 0.0 < best.systolic.mean_mmHg < 0.12 * pulse and best.systolic.sd_mmHg < 1.0
    assert result.calibration.found is not None and abs(result.calibration.error_mmHg) < 1.0


@needs_pig
def test_the_cabinet_is_worse_and_its_tube_is_why() -> None:
    """With the margins held alike, 1.2 m of tube costs crossover and tracking; the budget names it."""
    wrist, cabinet = judged("wrist", "pig"), judged("cabinet", "pig")
    assert cabinet.tracking is not None and wrist.tracking is not None
    assert cabinet.tracking.ideal.rms_mmHg > 1.5 * wrist.tracking.ideal.rms_mmHg
    assert cabinet.worst.margins.crossover_Hz < 0.6 * wrist.worst.margins.crossover_Hz
    rows = {row.part: row.phase_deg for row in cabinet.budget}
    plant = {part: rows[part] for part in ("valve", "tube", "tissue", "wall", "photodiode", "hold", "dead time")}
    assert min(plant, key=plant.__getitem__) == "tube"
