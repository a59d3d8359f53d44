import json

import numpy as np

from experiments.readings.fitted import __main__ as program
from experiments.readings.fitted import breath_law
from experiments.readings.fitted.store import from_plain


def test_all_files_are_written(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(program, "FIT_SEEDS", range(3))
    monkeypatch.setattr(program, "JUDGED_SEEDS", range(1000, 1001))
    monkeypatch.setattr(program, "BREATHING", range(3))
    monkeypatch.setattr(program, "RECORDS", 1)
    program.write(tmp_path)
    held = from_plain(json.loads((tmp_path / "constants.json").read_text(encoding="utf-8")))
    assert held.arm.shape[0] == 3
    law = breath_law.from_plain(json.loads((tmp_path / "breath.json").read_text(encoding="utf-8")))
    assert 0.0 < law.sd < 1.0
    with np.load(tmp_path / "waves.npz") as waves:
        assert len(waves["interval_s"]) == 9
