"""The one exception for bad input."""
import pytest

from plant.errors import InputError


def test_it_is_a_value_error_that_keeps_its_line() -> None:
    """Callers from Python may catch the usual class; the message reaches the command line as it was written."""
    with pytest.raises(ValueError, match=r"^cuff\.volume_mL = -1 is outside 0\.05 … 200$") as refusal:
        raise InputError("cuff.volume_mL = -1 is outside 0.05 … 200")
    assert refusal.type is InputError
