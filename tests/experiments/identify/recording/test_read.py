"""Recordings from a sheet: the good one as it is, each bad one refused in one line that names the file."""
import numpy as np
import pytest

from experiments.identify.recording.read import read_recording, read_recordings
from experiments.identify.recording.sheet import Entry, read_sheet
from plant.errors import InputError
from tests.experiments.identify.recording.bad_tables import BAD, good, write


def sheet(folder, *entries, more=""):
    path = folder / "sheet.toml"
    path.write_text(more + "\n".join(f'[[recording]]\nfile = "{file}"\nplayed = "step"\n{rest}'
                                     for file, rest in entries))
    return read_sheet(path)


def test_a_good_one(tmp_path):
    columns = good()
    write(tmp_path / "a.csv", columns)
    (one,) = read_recordings(sheet(tmp_path, ("a.csv", "")))
    assert one.period_s == pytest.approx(1e-3) and one.played == "step" and len(one.sha256) == 64
    assert np.allclose(one.channels["reading_mmHg"], columns["reading_mmHg"])
    assert 0.04 < one.noise["reading_mmHg"] < 0.06


@pytest.mark.parametrize("kind", BAD)
def test_bad_ones(tmp_path, kind):
    """One line, which begins with the file and says what is wrong."""
    damage, told = BAD[kind]
    write(tmp_path / "a.csv", damage(good()))
    with pytest.raises(InputError) as found:
        read_recording(tmp_path, Entry("a.csv", "step"))
    line = str(found.value)
    assert line.startswith(str(tmp_path / "a.csv")) and told in line and "\n" not in line and len(line) < 400


def test_own_names_of_columns(tmp_path):
    columns = good()
    write(tmp_path / "a.csv", {"time_s": columns["time_s"], "u": columns["command"], "p": columns["reading_mmHg"],
                               "room": columns["command"]})
    one = read_recording(tmp_path, Entry("a.csv", "step"), {"time_s": "time_s", "command": "u", "reading_mmHg": "p"})
    assert set(one.channels) == {"reading_mmHg"}
    with pytest.raises(InputError, match=r"no column 'v' \(sheet: columns.command\)"):
        read_recording(tmp_path, Entry("a.csv", "step"), {"time_s": "time_s", "command": "v"})


def test_time_may_come_from_the_sheet(tmp_path):
    columns = {name: values for name, values in good().items() if name != "time_s"}
    write(tmp_path / "a.csv", columns)
    assert read_recording(tmp_path, Entry("a.csv", "step", sampling_Hz=1000.0)).period_s == pytest.approx(1e-3)


def test_the_same_gauge_has_one_noise(tmp_path):
    for seed, name in enumerate(("a.csv", "b.csv")):
        write(tmp_path / name, good(seed))
    found = read_recordings(sheet(tmp_path, ("a.csv", ""), ("b.csv", "noise_mmHg = 0.2\n")))
    assert found[0].noise != found[1].noise and found[1].noise["reading_mmHg"] == 0.2


def test_a_recording_is_given_once_and_one_is_fitted(tmp_path):
    write(tmp_path / "a.csv", good())
    with pytest.raises(InputError, match="2 times"):
        read_recordings(sheet(tmp_path, ("a.csv", ""), ("a.csv", "")))
    with pytest.raises(InputError, match="every recording is a holdout"):
        read_recordings(sheet(tmp_path, ("a.csv", "holdout = true\n")))


def test_the_command_file_is_held_against_it(tmp_path):
    """A recorder whose clock is 0.5 % off."""
    columns = {name: np.concatenate([v, v + (v[-1] + 1e-3 if name == "time_s" else 0.0)]) for name, v in good().items()}
    write(tmp_path / "c.csv", {name: columns[name] for name in ("time_s", "command")})
    write(tmp_path / "a.csv", columns)
    read_recording(tmp_path, Entry("a.csv", "step", command_file="c.csv"))
    write(tmp_path / "a.csv", {**columns, "time_s": 1.005 * columns["time_s"]})
    with pytest.raises(InputError, match="clock drifts"):
        read_recording(tmp_path, Entry("a.csv", "step", command_file="c.csv"))
