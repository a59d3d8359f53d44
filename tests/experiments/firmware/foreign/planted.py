"""Firmware with faults at a tick, for tests."""
from pathlib import Path

TICK = 7777
FAULTS = {
    "segv": "*(volatile int *)16 = 1;", "division": "volatile int none = 0; none = 1000 / none;", "exit": "exit(3);",
    "stack": "volatile char room[8]; for (volatile int i = 0; i < 400; i++) { room[i] = 1; }",
    "hang": "for (;;) { }", "nan": "out->command = NAN;", "range": "out->command = 7.0;", "none": "",
}
LAW = """
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include "pressure_servo.h"
uint32_t servo_abi(void) { return %(abi)s; }
void servo_start(void *state, double period_s) { *(double *)state = 0.0 * period_s; %(start)s }
static void __attribute__((noinline)) fault(servo_outcome *out) { %(fault)s (void)out; }
void servo_tick(void *state, const servo_samples *in, servo_outcome *out)
{
    double *integral = state;
    const double missing = in->fill_mmHg - in->reading_mmHg;
    const double error = (in->set_point - in->light) / in->light_slope;
    out->command = 0.02 * missing;
    if (in->mode == SERVO_MODE_CLAMP) {
        *integral += 1.0e-4 * error;
        out->command = *integral + 0.002 * error;
    }
    out->command = fmin(fmax(out->command, -1.0), 1.0);
    if (in->tick == %(tick)d) { fault(out); }
}
"""


def planted(folder: Path, fault: str, tick: int = TICK, abi: str = "SERVO_ABI", start: str = "") -> Path:
    """A firmware in C that fails in a way at a tick."""
    path = folder / f"{fault}.c"
    path.write_text(LAW % {"fault": FAULTS[fault], "tick": tick, "abi": abi, "start": start}, encoding="utf-8")
    return path
