"""The page: one file, small, nothing from elsewhere, and its data are those of the run."""
import base64
import gzip
import re

import numpy as np

from experiments.bench.offline.figure import CAUTION, axis_words, figure_data, style, value_words
from experiments.bench.wire import packed, unpacked
from tests.experiments.bench.offline.helper import module, page, scene, usual, with_linker


def block(text, name):
    """What a block of the page holds."""
    return gzip.decompress(base64.b64decode(re.search(rf'id="{name}">([^<]*)<', text)[1]))


def test_one_file_that_asks_for_nothing():
    with_linker()
    text = page()
    assert len(text.encode()) < 300_000
    own = re.sub(r"/\*!? ?https://github.com/leeoniya/uPlot.*", "", text)  # the vendored library's own first line
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)|@import|url\(", own)
    assert not re.search(r"(?:src|href)=\"(?!data:,)", text) and "default-src 'none'" in text.replace("&#x27;", "'")
    assert block(text, "once") == module(True) and block(text, "twice") == module(False)
    assert CAUTION in unpacked(block(text, "data")).head["caution"]


def test_its_data_are_those_of_the_run():
    found, ready = scene(), usual()
    told = unpacked(packed(figure_data(found, ready, "cuffloop bench wrist --offline live.html")))
    head, curves = told.head, told.arrays
    assert np.array_equal(curves["arterial_mmHg"], found.trace.pressure_mmHg)
    size = int(np.prod([len(axis.values) for axis in found.axes]))
    assert all(len(curves[figure["name"]]) == size for figure in head["figures"])
    assert head["ticks"] == ready.ticks and sum(n for n, _ in head["signals"]["mode"]) == ready.ticks
    assert [sum(n for n, _ in head["signals"][name]) for name in ("tone", "ambient", "unloaded_mmHg")] == (
        [ready.ticks + 1] * 3)
    assert head["ring_most"] == 6 and any("looked up" in line for line in head["about"])  # four ticks, and two


def test_values_in_words():
    assert value_words("kp", 0.0218) == "0.0218 1/mmHg" and value_words("dead_time_s", 0.00125) == "1.25 ms"
    assert [value_words("volume_error", v) for v in (-0.1, 0.0, 0.05)] == [
        "10 % too small", "the unloaded volume", "5 % too large"]
    words = axis_words(scene().axes[0])
    assert len(words["words"]) == len(words["values"]) == len(words["rows"]) and words["unit"] == "1/mmHg"


def test_it_is_light_whatever_the_system_is():
    assert "prefers-color-scheme" not in style() and "--paper: #fbfaf7" in style()
