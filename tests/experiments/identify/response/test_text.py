"""A loop on measured data in words and as data; and through `margins`."""
import json

import numpy as np

import cuffloop
from experiments.identify.response.frequency_response import response_of
from experiments.identify.response.measured_loop import dead_time, measured_margins
from experiments.identify.response.text import MeasuredLoop, measured_json, measured_lines
from experiments.rigs.rig import load_rig
from experiments.work.output import plain
from tests.experiments.identify.response.multisines import played


def test_words_and_data():
    rig, response = load_rig("cabinet"), response_of(played()[:1])
    found = MeasuredLoop(response, measured_margins(rig, response), dead_time(rig, response))
    text = "\n".join(measured_lines(found))
    assert "1 realisation of 5 periods" in text and "noise only" in text and "phase_margin_deg" in text
    document = json.loads(json.dumps(plain(measured_json(found))))
    assert len(document["frequency_Hz"]) == len(document["coherence"]) == len(response.gain)
    assert set(document["margins"]) == {"crossover_Hz", "phase_margin_deg", "gain_margin_dB", "modulus_margin"}


def test_through_margins(tmp_path):
    """From a plan for a response to margins on what a virtual bench recorded of it."""
    cuffloop.excite("cabinet", ["response"], seconds=6, rate_Hz=2000, play="cabinet").save(tmp_path)
    found = cuffloop.margins("cabinet", response=tmp_path / "sheet.toml")
    assert found.measured is not None and "On measured data" in str(found) and "measured" in found.document()
    assert np.isclose(found.measured.dead_time_s[0], 0.001, atol=2e-5)
