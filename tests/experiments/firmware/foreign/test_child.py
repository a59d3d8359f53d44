"""The process in which a firmware runs: it ends with a status of its own where it cannot begin."""
from multiprocessing import get_context
from pathlib import Path

import pytest

from experiments.firmware.foreign import child
from experiments.firmware.foreign.records import shared_words
from experiments.firmware.foreign.watch import built_library
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.foreign.test_watch import ready
from tests.experiments.firmware.helper import needs_gcc


@needs_gcc
@pytest.mark.parametrize(("abi", "status"), [("1u", child.OTHER_ABI), ("SERVO_ABI", 0)])
def test_status_of_a_child(abi: str, status: int, tmp_path: Path) -> None:
    """Another interface is refused before the first tick; ours runs to the end."""
    made, memory = ready("wrist", 6.0), tmp_path / "memory"
    words, _ = shared_words(memory, made.ticks)
    library = built_library(planted(tmp_path, "none", abi=abi), tmp_path)
    process = get_context("spawn").Process(target=child.run_child, args=(made, str(library), str(memory)))
    process.start()
    process.join(120)
    assert process.exitcode == status
    assert words[16 + 5] == (made.ticks if status == 0 else 0)
