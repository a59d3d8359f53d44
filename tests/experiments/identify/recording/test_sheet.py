"""A sheet says what was played; what is wrong in it is told in one line."""
import pytest

from experiments.identify.recording.sheet import Known, known_from, read_sheet
from plant.errors import InputError

GOOD = '''base = "cabinet"
[known]
"cuff.volume_mL" = { value = 2.5, sd = 0.05 }
"tube.length_m" = 1
[[recording]]
file = "a.csv"
played = "step"
columns = { command = "u" }
'''


def test_a_good_one(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text(GOOD)
    sheet = read_sheet(path)
    assert sheet.base == "cabinet" and sheet.known == {"cuff.volume_mL": Known(2.5, 0.05), "tube.length_m": Known(1.0)}
    assert sheet.entries[0].file == "a.csv" and sheet.columns == ({"command": "u"},)


@pytest.mark.parametrize(("old", "new", "told"), [
    ('played = "step"', 'played = "slope"', "use one of step"),
    ('file = "a.csv"\n', "", "recording 1.file is missing"),
    ("base", "rig", "rig is not a key of a sheet"),
    ("{ command = \"u\" }", "3", "must be a table"),
    ("command = \"u\"", "drive = \"u\"", "columns.drive"),
    ("sd = 0.05", "sd = -1.0", "must be a number from 0"),
    ("= 1\n", "= true\n", "must be a number or"),
    ('"cabinet"', "3", "must be text"),
])
def test_bad_ones(tmp_path, old, new, told):
    path = tmp_path / "s.toml"
    path.write_text(GOOD.replace(old, new))
    with pytest.raises(InputError) as found:
        read_sheet(path)
    assert told in str(found.value) and str(found.value).startswith(str(path))


def test_a_sheet_without_recordings(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text('base = "wrist"\n')
    with pytest.raises(InputError, match="at least one"):
        read_sheet(path)


def test_known_on_the_command_line():
    assert known_from("cuff.volume_mL=2.5±0.05") == known_from("cuff.volume_mL=2.5+-0.05")
    assert known_from("tube.length_m=1.2") == ("tube.length_m", Known(1.2, 0.0))
    for text in ("2.5", "volume=2", "cuff.volume_mL=a", "cuff.volume_mL=1±x", "cuff.volume_mL=nan"):
        with pytest.raises(InputError, match="--known"):
            known_from(text)
