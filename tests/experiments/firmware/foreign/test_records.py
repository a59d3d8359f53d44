"""Records of the interface as shared memory."""
import ctypes
import re
from pathlib import Path

import numpy as np
from numba import njit

from experiments.firmware.foreign import records
from experiments.firmware.foreign.outcome import HEADER
from experiments.firmware.foreign.records import ABI, STATE_BYTES, call_tick, shared_words
from experiments.simulation.coupled import CHANNELS


@njit  # type: ignore[untyped-decorator]
def through(address, state, samples, outcome):  # type: ignore[no-untyped-def]
    """Call what is at an address."""
    call_tick(address, state, samples, outcome)


def test_a_c_address_is_called_with_its_three_pointers() -> None:
    """Here the address is Python's own, which writes to the memory it is given."""
    kind = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p)

    @kind
    def tick(state: int, samples: int, outcome: int) -> None:
        found = ctypes.c_double.from_address(samples).value
        ctypes.c_double.from_address(outcome).value = 2.0 * found
        ctypes.c_double.from_address(state).value += 1.0

    memory = np.array([1.0, 21.0, 0.0])
    at = memory.ctypes.data
    through(ctypes.cast(tick, ctypes.c_void_p).value, at, at + 8, at + 16)
    assert memory.tolist() == [2.0, 21.0, 42.0]


def test_two_maps_of_one_file_are_the_same_memory(tmp_path: Path) -> None:
    """What one process writes the other sees."""
    first, trace = shared_words(tmp_path / "memory", 5)
    second, other = shared_words(tmp_path / "memory", 5)
    first[3], trace[4, 1] = 7, 0.5
    assert (second[3], other[4, 1]) == (7, 0.5)
    assert trace.shape == (5, len(CHANNELS))


def test_the_header_says_the_same_as_the_records() -> None:
    """Version, size of the state, fields of eight words each."""
    text = HEADER.read_text(encoding="utf-8")
    assert f"#define SERVO_VERSION {records.VERSION}U" in text
    assert f"#define SERVO_STATE_BYTES {STATE_BYTES}U" in text
    assert ABI == (1 << 16) + 128
    body = re.search(r"typedef struct \{(.*?)\} servo_samples;", text, re.S)
    assert body is not None
    sizes = {"int64_t": 8, "int32_t": 4, "double": 8}
    assert sum(sizes[word] for word in re.findall(r"^    (\w+) ", body.group(1), re.M)) == 64
