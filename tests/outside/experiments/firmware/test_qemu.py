"""Instructions and bits of an emulated run, held against another model of the machine: QEMU, counted by its `-icount`.

Under `-icount shift=N` an instruction takes 2^N ns of the board's time, whose SysTick counts at 25 MHz (mps2 boards).
An empty function is measured the same way, so that what remains is the firmware's tick but for one instruction.
"""
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from experiments.firmware.board.image import FLAGS, GCC_FLAGS, INTERFACE
from experiments.firmware.board.processors import PROCESSORS
from experiments.firmware.foreign.records import STATE_BYTES
from experiments.firmware.foreign.watch import given_samples, image_of
from experiments.firmware.package.package import write_code
from experiments.firmware.package.vectors_text import fnv
from experiments.rigs.rig import load_rig
from experiments.simulation.coupled import CHANNELS
from experiments.simulation.simulate import prepare, run_ready
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.firmware.helper import needs_board

QEMU, GCC = shutil.which("qemu-system-arm"), shutil.which("arm-none-eabi-gcc")
pytestmark = [needs_board, pytest.mark.skipif(not QEMU or not GCC, reason="no qemu-system-arm or no arm-none-eabi-gcc")]
TICKS, TICK_ns = 300, 40
SHIFTS = {"m4f": 10, "m3": 5, "m7f": 10}  # all ticks stay below the 24 bits of SysTick
BOARDS = {"m4f": "mps2-an386", "m3": "mps2-an385", "m7f": "mps2-an500"}
HARNESS = """#include "pressure_servo.h"
#define WORD(address) (*(volatile uint32_t *)(address))
extern const uint64_t given[TICKS * 8];
static double state[SERVO_STATE_BYTES / 8];
static void nothing(void *own, const servo_samples *in, servo_outcome *out) { (void)own; (void)in; (void)out; }
typedef void (*tick)(void *, const servo_samples *, servo_outcome *);
static void say(uint64_t value)
{
    char text[18];
    for (int i = 0; i < 16; i++) { text[i] = "0123456789abcdef"[(value >> (60 - 4 * i)) & 15U]; }
    text[16] = ' ';
    text[17] = 0;
    register uint32_t r0 __asm__("r0") = 4U;
    register const char *r1 __asm__("r1") = text;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
}
static uint64_t sum;
static uint32_t __attribute__((noinline)) measured(volatile tick *function)
{
    const tick chosen = *function;
    const uint32_t before = WORD(0xE000E018);
    sum = UINT64_C(0xcbf29ce484222325);
    for (int k = 0; k < TICKS; k++) {
        union { servo_outcome told; uint64_t bits[8]; } out;
        out.bits[0] = 0U;
        chosen(state, (const servo_samples *)&given[8 * k], &out.told);
        sum = (sum ^ out.bits[0]) * UINT64_C(0x100000001b3);
    }
    return (before - WORD(0xE000E018)) & 0xFFFFFFU;
}
void reset(void)
{
    static volatile tick own = servo_tick;
    static volatile tick empty = nothing;
    FPU
    WORD(0xE000E014) = 0xFFFFFFU;
    WORD(0xE000E018) = 0U;
    WORD(0xE000E010) = 5U;
    servo_start(state, ((const servo_samples *)given)->period_s);
    const uint32_t idle = measured(&empty);
    const uint32_t spent = measured(&own);
    say(spent);
    say(idle);
    say(sum);
    register uint32_t r0 __asm__("r0") = 0x18U;
    register uint32_t r1 __asm__("r1") = 0x20026U;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
    for (;;) { }
}
__attribute__((section(".vectors"), used)) static void *const vectors[2] = {(void *)0x20300000, (void *)reset};
"""
SCRIPT = """ENTRY(reset)
SECTIONS {
  . = 0; .text : { KEEP(*(.vectors)) *(.text .text.*) *(.rodata .rodata.*) }
  . = 0x20000000; .data : { *(.data .data.*) } .bss : { *(.bss .bss.*) *(COMMON) } end = .;
  /DISCARD/ : { *(.ARM.exidx* .ARM.extab* .init_array* .fini_array* .init .fini) }
}
"""
ENABLE = 'WORD(0xE000ED88) = 0xF00000U; __asm__ volatile("dsb\\nisb");'


def on_qemu(processor: str, folder: Path, words: NDArray[np.int64]) -> tuple[float, int]:
    """Mean instructions of a tick, and the sum over the bits of all commands."""
    found = PROCESSORS[processor]
    text = HARNESS.replace("FPU", ENABLE if found.has_real else "").replace("TICKS", str(len(words)))
    rows = ", ".join(f"UINT64_C({word})" for word in words.view(np.uint64).ravel().tolist())
    harness = folder / "harness.c"
    harness.write_text(f"{text}\nconst uint64_t given[{words.size}] = {{{rows}}};\n", encoding="utf-8")
    (folder / "qemu.ld").write_text(SCRIPT, encoding="utf-8")
    assert GCC and QEMU
    sources = [str(path) for path in sorted(folder.glob("*.c"))]
    build = [GCC, *FLAGS, *found.gcc, *GCC_FLAGS, "-w", f"-I{INTERFACE}", *sources, "-T", folder / "qemu.ld"]
    subprocess.run([*build, "-o", folder / "qemu.elf", "-lm"], check=True)
    harness.unlink()
    counted, quiet = f"shift={SHIFTS[processor]},sleep=off", ["-display", "none", "-monitor", "none", "-serial", "none"]
    done = subprocess.run(
        [QEMU, "-M", BOARDS[processor], "-kernel", folder / "qemu.elf", "-icount", counted, *quiet,
         "-semihosting-config", "enable=on,target=native"], capture_output=True, text=True, timeout=120, check=False)
    said = re.findall(r"[0-9a-f]{16}", done.stdout + done.stderr)
    assert len(said) == 3, done.stdout + done.stderr
    spent, idle, bits = (int(value, 16) for value in said)
    return (spent - idle) * TICK_ns / 2 ** SHIFTS[processor] / len(words) + 1.0, bits


def on_the_board(processor: str, folder: Path, words: NDArray[np.int64]) -> tuple[float, int]:
    """The same of the emulated board."""
    from experiments.firmware.board.engine import STATE, emulated_tick, start_engine
    from experiments.firmware.board.records import INSTRUCTIONS

    image = image_of(folder, PROCESSORS[processor], folder)
    engine = start_engine(image, STATE_BYTES, folder / "counts", lambda kind, address: False)
    engine.call("servo_start", STATE, real=float(words[0].view(np.float64)[7]))
    engine.board.desk[INSTRUCTIONS] = 0
    commands = np.zeros(len(words), np.uint64)
    for k, row in enumerate(words):
        both = np.concatenate([row, np.zeros(8, np.int64)])
        assert emulated_tick(engine.board, k, both)
        commands[k] = both.view(np.uint64)[8]
    return int(engine.board.desk[INSTRUCTIONS]) / len(words), int(fnv(commands))


@pytest.mark.parametrize("processor", ["m4f", "m3", "m7f"])
def test_instructions_and_bits_are_those_of_another_emulator(processor: str, tmp_path: Path) -> None:
    """Mean instructions within 0.01, and every command's bits, over 300 ticks of a clamp in single precision."""
    rig = load_rig("wrist")
    ready = prepare(rig, synthesise(SyntheticPressure(), rig.timing.period_s, 6.0, 1))
    run = run_ready(ready)
    rows = np.stack([run.channels[name] for name in CHANNELS], axis=1)
    words = given_samples(ready, rows, np.zeros(8, np.int64), 2200)[1900:2200]
    assert len(words) == TICKS
    write_code(rig, "single", tmp_path)
    here, there = on_the_board(processor, tmp_path, words), on_qemu(processor, tmp_path, words)
    assert here[1] == there[1]
    assert here[0] == pytest.approx(there[0], abs=0.01)
