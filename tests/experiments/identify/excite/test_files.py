"""The files of a plan are read again as what they are."""
import numpy as np

from experiments.identify.excite.files import command_text, recording_text, sheet_text
from experiments.identify.excite.plan import plan_for, play_all
from experiments.identify.recording.read import read_recordings
from experiments.identify.recording.sheet import read_sheet
from experiments.rigs.rig import load_rig


def test_sheet_and_recordings_are_read_again(tmp_path):
    rig = load_rig("cabinet")
    plan = plan_for(rig, ["valve"], 250.0, 2000.0, 4.0)
    for piece, channels in zip(plan.pieces, play_all(rig, plan.pieces, 1), strict=True):
        (tmp_path / f"{piece.played}.csv").write_text(recording_text(piece, channels))
        (tmp_path / f"{piece.played}_command.csv").write_text(command_text(piece))
    path = tmp_path / "sheet.toml"
    path.write_text(sheet_text(plan, "cabinet", ['"cuff.volume_mL" = 2.5'], "cabinet"))
    sheet = read_sheet(path)
    found = read_recordings(sheet)
    assert sheet.base == "cabinet" and "invented" in sheet.about and sheet.known["cuff.volume_mL"].value == 2.5
    assert [one.played for one in found] == [piece.played for piece in plan.pieces]
    for one, piece in zip(found, plan.pieces, strict=True):
        assert np.allclose(one.command, piece.command, atol=1e-8)
        assert 0.015 < one.noise["reading_mmHg"] < 0.03


def test_a_sheet_to_be_filled_in_says_how(tmp_path):
    plan = plan_for(load_rig("cabinet"), ["valve"], 250.0, 2000.0, 4.0)
    text = sheet_text(plan, "cabinet")
    assert "relief valve to 250 mmHg" in text and '# "cuff.volume_mL"' in text
    (tmp_path / "sheet.toml").write_text(text)
    assert read_sheet(tmp_path / "sheet.toml").known == {}
