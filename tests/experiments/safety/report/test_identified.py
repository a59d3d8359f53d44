"""Where a rig's numbers come from, as a report tells it."""
import copy
import json

import pytest

from experiments.rigs.rig import load_rig
from experiments.safety.report.identified import (
    Identification,
    identified_file,
    identified_section,
    read_identified,
)
from plant.errors import InputError

FOUND = {
    "base": "cabinet", "fits": True, "all_told": False, "misfit": [],
    "numbers": {
        "valve.damping_ratio": {"told": True, "why": "", "value": 0.8004, "sd": 0.001, "unit": "1", "low": 0.799,
                                "high": 0.802, "profiled": True},
        "cuff.growth_mL": {"told": False, "why": "these recordings do not tell it", "value": 0.9, "sd": "inf",
                           "unit": "mL", "low": 0.1, "high": 2.0, "profiled": True}},
    "held": {"cuff.volume_mL": {"value": 2.5, "sd": 0.05, "assumed": False, "pull": 0.4}},
    "leftovers": [{"recording": "step.csv", "channel": "reading_mmHg", "samples": 1000, "ratio": 1.02, "white_p": 0.4,
                   "command_p": 0.7, "rms": 0.02, "slow": 0.1, "holdout": True, "is_noise": True}],
    "margins": {"phase_margin_deg": {"value": 53.5, "sd": 0.03}}, "recordings": {"step.csv": "ab" * 32},
    "provenance": {"command": "cuffloop identify sheet.toml"}, "more": 1,
}


@pytest.fixture
def place(tmp_path):
    (tmp_path / "identify.json").write_text(json.dumps(FOUND))
    return tmp_path


def test_numbers_left_over_margins_and_hashes_are_told(place):
    (place / "fit.png").write_bytes(b"png")
    section = identified_section(read_identified(place, load_rig("cabinet")))
    assert section.anchor == "identified"
    for words in ("explained down to their noise", "0.8004", "profile likelihood", "not told: these recordings",
                  "measured otherwise, held; pulled by +0.4", "step.csv (holdout)", "53.5 ± 0.03", "ab" * 32,
                  "cuffloop identify sheet.toml", "data:image/png"):
        assert words in section.body, words
    assert identified_file(place) == place / "identify.json" == identified_file(place / "identify.json")


def test_a_misfit_is_told_and_no_picture_is_needed(place):
    (place / "identify.json").write_text(json.dumps(FOUND | {"fits": False, "misfit": ["Something is left."]}))
    bench = read_identified(place, load_rig("cabinet"))
    assert bench.png is None and isinstance(bench, Identification)
    assert "Something is left." in identified_section(bench).body


def test_another_rig_is_refused(place):
    with pytest.raises(InputError, match=r"was found on another rig: valve.damping_ratio is 0.8004 there, and 0.7 in"):
        read_identified(place, load_rig("cabinet", ["valve.damping_ratio=0.7"]))
    other = copy.deepcopy(FOUND)
    other["numbers"]["valve.nothing"] = other["numbers"].pop("valve.damping_ratio")
    (place / "identify.json").write_text(json.dumps(other))
    with pytest.raises(InputError, match="and not there in cabinet"):
        read_identified(place, load_rig("cabinet"))


@pytest.mark.parametrize(("changes", "says"), [
    ({"numbers": 3}, "numbers = 3"), ({"recordings": {"a": 1}}, "recordings.a = 1"), ({"fits": "yes"}, "fits = 'yes'"),
])
def test_what_identify_has_not_written_is_refused(place, changes, says):
    (place / "identify.json").write_text(json.dumps(FOUND | changes))
    with pytest.raises(InputError, match=r"^--identified .*give what `cuffloop identify --out` has written") as error:
        read_identified(place, load_rig("cabinet"))
    assert says in str(error.value)
