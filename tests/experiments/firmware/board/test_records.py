"""The record of a board."""
from experiments.firmware.board import records


def test_words_of_the_desk_are_told_apart_and_fit() -> None:
    """Each has its own place before the sums."""
    words = [records.INSTRUCTIONS, records.CYCLES, records.BLOCK_AT, records.FIRST, records.HALFWORDS,
             records.MOST_INSTRUCTIONS, records.MOST_CYCLES, records.MOST_TICK, records.TICKS, records.ERROR,
             records.FAULT_AT, records.FAULT_KIND, records.FAULT_ADDRESS, records.STACK, records.STATE_USED]
    assert len(set(words)) == len(words)
    assert max(words) < records.DESK_WORDS


def test_there_is_no_board_by_default() -> None:
    """Its engine is nothing, and its error too."""
    assert records.NO_BOARD.engine == 0
    assert records.NO_BOARD.desk[records.ERROR] == 0
