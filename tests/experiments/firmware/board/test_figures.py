"""Figures and findings of an emulated run from the words it left."""
import numpy as np
import pytest

from experiments.firmware.board import records as words
from experiments.firmware.board.figures import figures_of, findings_of
from experiments.firmware.board.image import RAM, Image

IMAGE = Image("m3", "some compiler", (), {}, ((0x0800_0000, 0x0800_0100, "slow"),), ((0x0800_0000, "my.c", 7),), (),
              1000, 50, 0)


def desk(**values: int) -> np.ndarray:
    """Words with some of them set."""
    found = np.zeros(words.DESK_WORDS, np.int64)
    for name, value in values.items():
        found[getattr(words, name)] = value
    return found


def test_means_and_shares() -> None:
    """Of ticks, and of the period at the clock."""
    seen = figures_of(IMAGE, 72e6, 1e-3, desk(INSTRUCTIONS=1000, CYCLES=3000, MOST_CYCLES=36_000, TICKS=10, STACK=40,
                                              STATE_USED=8))
    assert (seen.instructions, seen.cycles, seen.share, seen.ram_bytes) == (100.0, 300.0, 0.5, 98)
    assert seen.fits
    assert "50.00 % of the tick" in "\n".join(seen.lines())
    assert seen.document()["flash_bytes"] == 1000


@pytest.mark.parametrize(("values", "kind", "text"), [
    ({"MOST_CYCLES": 73_000, "MOST_TICK": 5}, "time", "101 % of its 1 ms at 72 MHz, at tick 5"),
    ({"ERROR": 7, "FAULT_AT": 0x0800_0010, "FAULT_KIND": 20, "FAULT_ADDRESS": 0x10}, "fault",
     r"a write to 0x00000010 in slow \(my.c:7\) at tick 9"),
    ({"ERROR": 7, "FAULT_AT": 0x0800_0010, "FAULT_KIND": 20, "FAULT_ADDRESS": RAM - 4}, "fault", "below the stack"),
    ({"ERROR": 10, "FAULT_AT": 0x0800_0010}, "fault", "an instruction that the processor does not have"),
])
def test_what_is_wrong_is_said(values: dict[str, int], kind: str, text: str) -> None:
    """With its kind, tick and place."""
    import re

    words_left = desk(**values)
    found = list(findings_of(figures_of(IMAGE, 72e6, 1e-3, words_left), 9, words_left))
    assert [row[0] for row in found] == [kind]
    assert re.search(text, found[0][2])
