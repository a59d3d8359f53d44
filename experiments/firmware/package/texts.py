"""The texts of a package: how to build it, what it computes, where each function comes from, what deviates."""
from __future__ import annotations

import csv
import io

from experiments.firmware.emit.kinds import Struct
from experiments.firmware.emit.text import CAUTION
from experiments.firmware.emit.unit import Emitted, Unit
from experiments.firmware.package.contents import NAME, Contents

FLAGS = "-std=c99 -pedantic -O2 -ffp-contract=off -Wall -Wextra -Wconversion -Wdouble-promotion"
SOURCES = (f"{NAME}.c", f"{NAME}_settings.c", "vectors.c", "check.c")
MAKEFILE = f"""# Builds and runs the check of the test vectors. -ffp-contract=off is part of the arithmetic.
CC ?= cc
CFLAGS ?= {FLAGS}

check: vectors_check
\t./vectors_check

vectors_check: {" ".join(SOURCES)} {NAME}.h {NAME}_settings.h vectors.h
\t$(CC) $(CFLAGS) -o $@ {" ".join(SOURCES)} -lm

clean:
\trm -f vectors_check

.PHONY: check clean
"""
CMAKE = f"""cmake_minimum_required(VERSION 3.10)
project({NAME} C)
set(CMAKE_C_STANDARD 99)
set(CMAKE_C_EXTENSIONS OFF)
add_library({NAME} STATIC {NAME}.c {NAME}_settings.c)
target_include_directories({NAME} PUBLIC ${{CMAKE_CURRENT_SOURCE_DIR}})
if(NOT MSVC)
  target_compile_options({NAME} PUBLIC -ffp-contract=off)
else()
  target_compile_options({NAME} PUBLIC /fp:precise)
endif()
add_executable(vectors_check vectors.c check.c)
target_link_libraries(vectors_check {NAME})
if(UNIX)
  target_link_libraries(vectors_check m)
endif()
enable_testing()
add_test(NAME vectors COMMAND vectors_check)
"""
DEVIATIONS = """# Deviations

Numbers are of MISRA C:2012; its texts are not ours to print.

| rule | where | why |
|---|---|---|
| 15.5 (advisory) | functions with a return in each branch | as in the source they come from, line by line |
| 8.7 (advisory) | functions and settings of the header | they are for the caller, outside this file |
| 8.9 (advisory) | tables of `vectors.c` | test data, not part of the firmware |
| 21.15 (required) | `word_of_real`, `real_of_word`, if used | the bits of a number, by `memcpy` as C wants it |
| 2.5 (advisory) | constants that an arithmetic does not use | one list for all, by the names of the source |
| 11.5 (advisory) | `servo_port.c` | the interface hands over memory without a type |
| 21.6 | `check.c` | the host's test prints; it is not part of the firmware |
| exact comparison of real numbers | where a value is compared with itself (not a number), with one it was copied from,
or with the limit it was held to | each asks for the very same bits, and means it |

Nothing here claims conformity with a standard.
"""


def settings_read(emitted: Emitted) -> list[str]:
    """Fields that a function reads itself, of settings, orders and state."""
    return sorted(emitted.reads)


def suite_of(emitted: Emitted, unit: Unit, root: str) -> bool:
    """Whether a function is reached from a root."""
    by_name = {function.name: function for function in unit.order}
    waiting, seen = [root], set()
    while waiting:
        name = waiting.pop()
        if name not in seen and name in by_name:
            seen.add(name)
            waiting += by_name[name].calls
    return emitted.name in seen


def trace_csv(made: Contents) -> str:
    """C function, its source, what it reads, the keys of the rig behind that, and the vectors that run it."""
    keys = {}
    for setting in made.settings[:2]:
        for field in setting.value._fields:
            inner = getattr(setting.value, field)
            table = setting.tables.get(field, field)
            for name in getattr(inner, "_fields", ()):
                known = table if type(inner).__name__ == "Coefficients" else f"{table}.{name}"
                keys[f"{type(inner).__name__}.{name}"] = known
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["C function", "source", "reads", "keys of the rig", "vectors"])
    for emitted in made.unit.order:
        read = settings_read(emitted)
        runs = [suite.name for suite, root in zip(made.suites, (made.roots[0], made.roots[2]), strict=True)
                if suite_of(emitted, made.unit, root.name)]
        behind = sorted({keys[name] for name in read if name in keys})
        writer.writerow([emitted.name, emitted.source.place(), " ".join(read), " ".join(behind), " ".join(runs)])
    return out.getvalue()


def readme(made: Contents) -> str:
    """README.md: arithmetic, use, test, limits."""
    law, protection = made.suites
    bits = 64 if made.numbers.name == "double" else 32
    tick, step = made.roots[0], made.roots[2]
    assert isinstance(tick.result, Struct)
    fields = ", ".join(f"`{name}`" for name, _ in tick.result.fields)
    twins = ("the simulator's own compiled functions" if bits == 64 else
             "the simulator's own functions with every number and constant rounded to 24 bits")
    return f"""# Firmware of the rig `{made.rig.name}`

{CAUTION}

C99 of what runs on each tick: control law with its limits, actuator stage, modes, set point on its way, output
converter, and the protection's detectors. No heap, no recursion, no loop without a bound. Every function stands under
the docstring and the line of the source that it was made from; `TRACE.csv` lists them.

## Arithmetic

{words_text(made)}{"Double" if bits == 64 else "Single"} precision (IEEE 754, {bits} bits), rounded to nearest
after every operation.
Products and sums must not be fused: build with `-ffp-contract=off` (or what your compiler calls it) and without fast
math. `vectors_check` tells: it ends with status 2 in a build that fuses. Of the library only `sqrt`, `floor`, `fabs`,
`ldexp` and `copysign` are used, which are exact everywhere.

## Use

```c
#include "{NAME}_settings.h"

FirmwareState state = {NAME}_at_start;
ProtectionState protection = initial_protection();
/* every {made.rig.timing.period_s:g} s: */
const {tick.result.name} answer = {tick.name}(&{NAME}_firmware, &state, &order, light, reading_mmHg);
state = answer.{tick.result.fields[0][0]};
protection = {step.name}(&{NAME}_protection, &protection, &seen);
```

`{tick.result.name}` holds {fields}. Light is a share of full scale, pressure is in mmHg, the command a fraction of full
command. Fields and units are in `{NAME}.h`; every setting with unit and key of the rig in `{NAME}_settings.c`. What to
do in a fallback state (`protection.fallback`) is the caller's: vent, hold, or clamp on.

`{NAME}_port.c` is the same behind the interface of `pressure_servo.h`, by which `cuffloop loop --firmware` runs it
against the plant (law only).

## Test

`make check`, or CMake and `ctest`, runs {law.stimulus.ticks} ticks of the law and {protection.stimulus.ticks} of the
protection ({law.rows.size + protection.rows.size} values) and compares the bits of all outputs and states, block by
block, with those of {twins}. {len(made.fired)} detectors fire in these ticks: {", ".join(made.fired)}.
`vectors_law.csv` and `vectors_protection.csv` show some ticks in full; `vectors_check law FIRST LAST` prints others.
"""


def words_text(made: Contents) -> str:
    """What a reader must know of a law on words; nothing for another."""
    f = made.formats
    if f is None or made.sums is None:
        return ""
    rows = [("error", f"±{f.ranges.error_mmHg:g} mmHg", f.error, ""),
            ("lead", f"±{f.ranges.lead_mmHg:.4g} mmHg", f.lead, f.lead_sum),
            ("notch", f"±{f.ranges.notch_mmHg:.4g} mmHg", f.notch, f.notch_sum),
            ("derivative", f"±{f.ranges.rate:.4g} of full command", f.rate, f.rate_sum),
            ("demand", f"±{f.ranges.demand:.4g} of full command", f.demand, f.demand_sum)]
    table = "\n".join(f"| {name} | {size} | {point} | {total} |" for name, size, point, total in rows)
    halves = "halves upwards" if f.rounding == "nearest" else "towards minus infinity"
    sums = ", ".join(f"{name} {bits}" for name, bits in made.sums.items())
    return f"""The law runs on words of {f.words} bits, sign included: a word w with F bits after its point stands for
w / 2^F. Sums of 64 bits are exact; a word is stored by adding half a step, shifting ({halves}) and holding it to its
limits. The integral is never rounded. Coefficients have {f.coefficient_words} significant bits.

| word | range | bits after its point | and after its sum's |
|---|---|---|---|
{table}

Bits that each sum can take, whatever the input, of 63:
{sums}.
The vectors hold {made.saturated_ticks} ticks on which the error or the demand is at the end of its word.

All around the law (set point on its way, actuator stage, limits, converter, protection) stays in real numbers, on the
target too: words spare the law its floating point, not the processor all of it. What follows holds for that part:

"""


def port(made: Contents) -> str:
    """`servo_port.c`: the law behind the interface of `pressure_servo.h`."""
    tick = made.roots[0]
    assert isinstance(tick.result, Struct)
    state, command, terms, limited = (name for name, _ in tick.result.fields)
    real = made.numbers.c_type
    return f"""/* The law of this package behind the interface of pressure_servo.h.
 * {CAUTION}
 */
#include "pressure_servo.h"
#include "{NAME}_settings.h"

uint32_t servo_abi(void)
{{
    return SERVO_ABI;
}}

void servo_start(void *state, double period_s)
{{
    (void)period_s;
    *(FirmwareState *)state = {NAME}_at_start;
}}

void servo_tick(void *state, const servo_samples *in, servo_outcome *out)
{{
    FirmwareState *const own = (FirmwareState *)state;
    const Order order = {{.mode = in->mode, .fill_mmHg = ({real})in->fill_mmHg,
        .set_point = ({real})in->set_point, .light_slope = ({real})in->light_slope}};
    const {tick.result.name} answer = {tick.name}(&{NAME}_firmware, own, &order,
        ({real})in->light, ({real})in->reading_mmHg);
    *own = answer.{state};
    out->command = (double)answer.{command};
    out->limited = answer.{limited} ? 1 : 0;
    out->watch[0] = (double)answer.{terms}.error_mmHg;
    out->watch[1] = (double)answer.{terms}.proportional;
    out->watch[2] = (double)answer.{terms}.integral;
    out->watch[3] = (double)answer.{terms}.derivative;
    out->watch[4] = (double)answer.{terms}.demand;
    out->watch[5] = (double)own->set_point;
}}
"""
