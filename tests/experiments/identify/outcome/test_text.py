"""An account in words and as data."""
import json

from experiments.identify.outcome.text import account_json, account_lines, row
from experiments.work.output import plain
from tests.experiments.identify.outcome.accounts import account, misfit


def test_tables_of_a_fit():
    text = "\n".join(account_lines(account()))
    for word in ("explained down to their noise", "valve.damping_ratio", "measured; held", "told least", "click.csv",
                 "phase_margin_deg", "droop (1.5 nats, tube.diameter_mm to 60 %)"):
        assert word in text
    assert all(len(line) < 200 for line in account_lines(account()))


def test_a_misfit_says_that_nothing_is_written():
    text = "\n".join(account_lines(misfit()))
    assert "NOT explained" in text and "No rig file is written" in text and "not noise" in text


def test_a_number_that_is_not_told():
    one = account().found.found[0]._replace(told=False, why="these recordings do not tell it")
    assert "not told" in row(one, account()) and "stays at 100" in row(one, account())


def test_data_is_plain():
    document = json.loads(json.dumps(plain(account_json(account()))))
    assert document["fits"] is True and set(document["recordings"]) == {"click.csv"}
    count = len(document["covariance"]["of"])
    assert len(document["covariance"]["matrix"]) == count == len(document["numbers"]) + 1
    assert account_json(misfit())["misfit"]
