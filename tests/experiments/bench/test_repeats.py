"""What the page gives to take home gives the same rig again."""
import shlex

from experiments.bench.asked import asked_of
from experiments.bench.repeats import check_command, repeats, rig_file, simulate_command
from experiments.rigs.rig import load_rig, parameters_of, read_rig
from tests.experiments.bench.helper import SETUP, asked

TURNED = {"controller.kp": 0.0123456789, "tube.length_m": 0.3, "transducer.at_valve_end": True}


def test_the_command_has_the_record_and_every_setting():
    request = asked(settings=TURNED, offset_mmHg=3.0, volume_error=0.1)
    words = shlex.split(check_command(request))
    assert words[:7] == ["cuffloop", "check", "wrist", "--record", "synthetic", "--seconds", "16"]
    settings = [words[i + 1] for i, word in enumerate(words) if word == "--set"]
    assert parameters_of(load_rig("wrist", settings)) == parameters_of(request.made())
    assert "--offset 3 --volume-error 0.1" in simulate_command(request)


def test_the_rig_file_loads_as_the_same_rig(tmp_path):
    made = asked(settings=TURNED).made()
    path = tmp_path / "taken.toml"
    path.write_text(repeats(asked(settings=TURNED), made)["rig_file"], encoding="utf-8")
    taken = load_rig(str(path))
    assert (taken.plant, taken.controller, taken.timing) == (made.plant, made.controller, made.timing)
    assert rig_file(asked(), made).startswith("# A design and teaching tool")


OPEN = """base = "wrist"
[spread]
"cuff.volume_mL" = 0.05
"tube.length_m" = 0.002
"valve.conductance" = 0.0008
[correlation]
"cuff.volume_mL" = { "valve.conductance" = 0.98, "tube.length_m" = 0.1 }
"""


def test_the_rig_file_keeps_what_was_left_open_of_numbers_not_turned(tmp_path):
    (tmp_path / "open.toml").write_text(OPEN)
    setup = SETUP._replace(rigs=(str(tmp_path / "open.toml"), "wrist"))
    request = asked_of(setup, {"settings": {"tube.length_m": 0.3}})
    (tmp_path / "taken.toml").write_text(rig_file(request, request.made()), encoding="utf-8")
    tables = read_rig(str(tmp_path / "taken.toml")).tables
    assert tables["spread"] == {"cuff.volume_mL": 0.05, "valve.conductance": 0.0008}
    assert tables["correlation"] == {"cuff.volume_mL": {"valve.conductance": 0.98}}
    other = asked_of(setup, {"settings": {"valve.kind": "pressure", "actuator.kind": "direct"}})
    assert "valve.conductance" not in rig_file(other, other.made()).partition("[spread]")[2]


def test_what_the_bench_was_started_with_is_in_the_command():
    setup = SETUP._replace(settings=("controller.kp=0.02",), requirements="own limits.toml", start_s=2.0, seed=3)
    words = check_command(asked_of(setup, {}))
    assert "--requirements 'own limits.toml'" in words and "--set controller.kp=0.02" in words
    assert "--start 2" in words and "--seed 3" in words
