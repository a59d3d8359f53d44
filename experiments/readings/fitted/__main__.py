"""`python -m experiments.readings.fitted [FOLDER]`: fit all constants anew, some minutes of one core.

Without a folder the shipped files are replaced: `constants.json`, `breath.json`, and `waves.npz` with the finger
pressures of a hundred people in nine states who take no part in the fit.
"""
from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from experiments.readings.fitted.breath import FITTED, RECORDS, write_breath
from experiments.readings.fitted.fit import fit_constants, seen
from experiments.readings.fitted.store import FILE, as_plain
from experiments.readings.limits.waves import waves_of
from experiments.readings.people.population import FIT_SEEDS, JUDGED_SEEDS, cases_of

BREATHING = FITTED  # who breathes
PEOPLE = 100  # of the waves


def write(folder: Path) -> None:
    """Fit, and write all files into a folder."""
    cases = [seen(case) for seed in FIT_SEEDS for case in cases_of(seed)]
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps(as_plain(fit_constants(cases)), indent=1, ensure_ascii=False)
    (folder / FILE.name).write_text(text + "\n", encoding="utf-8")
    write_breath(folder, BREATHING, RECORDS)
    write_waves(folder)


def write_waves(folder: Path) -> None:
    """The finger pressures alone, some twenty seconds."""
    judged = [case for seed in list(JUDGED_SEEDS)[:PEOPLE] for case in cases_of(seed)]
    waves = waves_of(np.array([60.0 / c.state.rate_per_min for c in judged]),
                     np.array([c.steady.finger_mmHg for c in judged]),
                     np.array([c.seed - JUDGED_SEEDS[0] for c in judged]))
    np.savez_compressed(folder / "waves.npz", interval_s=waves.interval_s.astype(np.float32),
                        harmonics=waves.harmonics.astype(np.complex64), person=waves.person.astype(np.int16))


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else FILE.parent)
