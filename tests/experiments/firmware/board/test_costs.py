"""Cycles of instructions, as documented."""
import pytest

from experiments.firmware.board.costs import COSTS, cycles_of, divisions, listed, running_sums
from tests.experiments.firmware.helper import needs_board


@pytest.mark.parametrize(("processor", "mnemonic", "operands", "cycles"), [
    ("m3", "mla", "r0, r1, r2, r3", 2), ("m4f", "mla", "r0, r1, r2, r3", 1), ("m3", "umull", "r0, r1, r2, r3", 5),
    ("m4f", "umull", "r0, r1, r2, r3", 1), ("m4f", "sdiv", "r0, r1, r2", 12), ("m4f", "ldr", "r0, [r1]", 2),
    ("m4f", "ldr.w", "pc, [r1]", 5), ("m4f", "push.w", "{r4, r5, lr}", 4), ("m4f", "pop", "{r4, pc}", 6),
    ("m0", "pop", "{r4, pc}", 6), ("m0", "bl", "#0x10", 4), ("m0", "b", "#0x10", 3), ("m0", "beq", "#0x10", 3),
    ("m0", "bx", "lr", 3), ("m0", "muls", "r0, r1, r0", 1), ("m4f", "bic", "r0, r1", 1),
    ("m4f", "vdiv.f32", "s0, s1", 14),
    ("m4f", "vsqrt.f32", "s0, s1", 14), ("m4f", "vmul.f32", "s0, s1, s2", 1), ("m4f", "vldr", "d7, [r1]", 3),
    ("m4f", "vldr", "s7, [r1]", 2), ("m4f", "vpush", "{d8, d9}", 5), ("m4f", "vmov", "r0, r1, d0", 2),
    ("m4f", "vaddgt.f32", "s0, s1, s2", 1), ("m4f", "cbnz", "r0, #4", 4), ("m4f", "bls", "#4", 4),
    ("m4f", "movs", "r0, #1", 1),
])
def test_an_instruction_costs_what_its_document_says(processor: str, mnemonic: str, operands: str, cycles: int) -> None:
    """Upper end of a range; a refill of the pipeline is 3."""
    assert cycles_of(COSTS[processor], mnemonic, operands) == cycles


def test_registers_in_a_list_are_counted() -> None:
    """One by one, and ranges."""
    assert [listed(text) for text in ("{r4, r5, lr}", "{d8-d11}", "sp!, {r4-r6, pc}", "r0")] == [3, 4, 4, 0]


@needs_board
def test_sums_run_over_code_and_not_over_data() -> None:
    """movs, movs, a word of data, bx: a difference of two sums is what lies between."""
    code = bytes.fromhex("0120 0221 ffffffff 7047".replace(" ", ""))
    counts, cycles = running_sums(code, 0x1000, [(0x1000, 0x1004), (0x1008, 0x100A)], "m0")
    assert counts.tolist() == [0, 1, 2, 2, 2, 3]
    assert cycles.tolist() == [0, 1, 2, 2, 2, 5]


@needs_board
def test_divisions_are_found_with_the_register_of_their_divisor() -> None:
    """udiv r0, r1, r2 behind a move; data are not looked at."""
    code = bytes.fromhex("0120") + bytes.fromhex("b1fbf2f0") + bytes.fromhex("b1fbf3f0")
    assert divisions(code, 0x1000, [(0x1000, 0x1006)]) == {0x1002: "r2"}
