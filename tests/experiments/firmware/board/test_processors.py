"""Names of processors and clocks."""
import pytest

from experiments.firmware.board.costs import COSTS
from experiments.firmware.board.processors import PROCESSORS, clock_of, processor_of
from plant.errors import InputError


@pytest.mark.parametrize(("text", "clock_Hz"), [("168MHz", 168e6), ("48 MHz", 48e6), ("1e6", 1e6), ("32kHz", 32e3)])
def test_a_clock_is_read(text: str, clock_Hz: float) -> None:
    """With or without a unit."""
    assert clock_of(text, PROCESSORS["m0"]) == clock_Hz


@pytest.mark.parametrize("text", ["fast", "-1MHz", "5Hz", "1.2.3MHz", "", "1e12"])
def test_what_is_no_clock_is_refused(text: str) -> None:
    """With the value and the range."""
    with pytest.raises(InputError, match="between 10kHz and 10GHz"):
        clock_of(text, PROCESSORS["m0"])


def test_without_a_clock_it_is_the_usual_one() -> None:
    """Of the processor; an unknown processor is refused with the names of those known, and all have costs."""
    assert clock_of(None, processor_of("M4F")) == PROCESSORS["m4f"].clock_Hz
    assert COSTS.keys() == PROCESSORS.keys()
    with pytest.raises(InputError, match="one of m0, m3, m4f, m7f"):
        processor_of("m5")
