"""`cuffloop.excite`: commands to be played on a bench, from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    """With a virtual bench that plays them, recordings and the measured volume are written, too."""
    found = cuffloop.excite("cabinet", ["timing"], seconds=3, rate_Hz=2000, play="cabinet")
    own = {f"{kind}{end}" for kind in ("click", "step") for end in (".csv", "_command.csv")}
    is_whole(found, {"excite"}, tmp_path / "out", {"excite.json", "excite.png", "sheet.toml", *own})
    assert '"cuff.volume_mL" = {' in (tmp_path / "out" / "sheet.toml").read_text()


def test_what_is_out_of_range():
    for options in ({"seconds": 0.1}, {"ceiling_mmHg": 5}, {"rate_Hz": 10}, {"seed": -1}):
        with pytest.raises(cuffloop.InputError):
            cuffloop.excite("cabinet", ["timing"], **options)


def test_examples():
    doctests_of("excite")
