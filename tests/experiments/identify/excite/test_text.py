"""Percentages to two digits."""
from experiments.identify.excite.text import shown


def test_percentages():
    assert [shown(v) for v in (0.0123, 3.456, 99.6, 212.0)] == ["0.012", "3.5", "100", "212"]
