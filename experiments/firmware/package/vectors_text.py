"""`vectors.h`, `vectors.c` and `vectors_SUITE.csv`: stimulus, bit sums of blocks of ticks, some ticks in full."""
from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.firmware.emit.kinds import FLAG, LONG, REAL, Kind, Numbers, Struct, safe
from experiments.firmware.emit.text import folded
from experiments.firmware.vectors.stimulus import SEED, Stimulus
from plant.declare import compiled

BLOCK = 500  # ticks a bit sum
OFFSET, PRIME = 0xCBF29CE484222325, 0x100000001B3  # FNV-1a, 64 bits (Fowler, Noll & Vo), a word at a time
ONE_NAN = 0x7FC00000
SHOWN = 40  # ticks of a CSV, spread over all of them


class Suite(NamedTuple):
    """One set of vectors: its stimulus, the names and values of what comes out, and how C runs a tick."""

    name: str
    stimulus: Stimulus
    given: NDArray[Any]
    outputs: list[str]
    rows: NDArray[Any]
    state: str  # C type of what is kept between ticks
    start: str  # C expression of what that is before the first
    call: list[str]  # C statements of a tick from `in` and `state`
    written: list[tuple[str, Kind]]  # C expressions of the outputs


def words_of(rows: NDArray[Any]) -> NDArray[np.uint64]:
    """Bit patterns of values; every NaN counts as one, for its payload differs from processor to processor."""
    width = np.uint64 if rows.dtype.itemsize == 8 else np.uint32
    words = np.ascontiguousarray(rows).view(width).astype(np.uint64)
    words[np.isnan(rows)] = ONE_NAN
    return words


def bit_sums(rows: NDArray[Any]) -> list[int]:
    """A sum over the words of each block of ticks."""
    words = words_of(rows)
    return [int(fnv(words[first : first + BLOCK].ravel())) for first in range(0, len(words), BLOCK)]


@compiled
def fnv(words: NDArray[np.uint64]) -> int:
    """The sum of a row of words."""
    value = np.uint64(OFFSET)
    for word in words:
        value = (value ^ word) * np.uint64(PRIME)
    return value  # type: ignore[return-value]


def flat_kinds(kind: Kind, path: str) -> Iterator[tuple[str, Kind]]:
    """C expressions of every number in a struct; one of 64 bits as two, each of 32 without a sign."""
    if isinstance(kind, Struct):
        for name, inner in kind.fields:
            yield from flat_kinds(inner, f"{path}.{safe(name)}")
    elif kind == LONG:
        yield f"(vector_real)(uint32_t)((uint64_t){path} >> 32U)", REAL
        yield f"(vector_real)(uint32_t)((uint64_t){path} & UINT64_C(0xffffffff))", REAL
    else:
        yield path, kind


def exact(value: float, numbers: Numbers) -> str:
    """A number as hexadecimal floating point, exact in this arithmetic."""
    held = float(value) if numbers.name == "double" else float(np.float32(value))
    if math.isnan(held):
        return f"({numbers.c_type})NAN"
    return f"{held.hex()}{numbers.suffix}"


def vectors_header(suites: list[Suite], numbers: Numbers) -> str:
    """`vectors.h`: what the check knows of its suites."""
    double = numbers.name == "double"
    return f"""/* Test vectors: see README.md. */
#ifndef VECTORS_H
#define VECTORS_H

#include <stdint.h>

typedef {numbers.c_type} vector_real;
typedef {"uint64_t" if double else "uint32_t"} vector_word;
#define REAL(value) {"(value)" if double else "value##f"}
#define VECTOR_SMALL {"0x1p-27" if double else "0x1p-12f"} /* its square is half a unit of 1 or less */
#define VECTOR_SEED UINT32_C({SEED})
#define BLOCK_TICKS {BLOCK}
#define SUITES {len(suites)}

typedef struct {{
    int32_t ticks;
    int32_t wave_ticks; /* period of the triangle */
}} Span;

typedef struct {{
    const char *name;
    int32_t ticks;
    int32_t segments;
    int32_t inputs;
    int32_t outputs;
    const Span *spans;
    const vector_real *table; /* mean, swing and noise of each input, segment by segment */
    const uint64_t *sums; /* of the bits of all outputs, block by block */
    void (*start)(void);
    void (*tick)(const vector_real *in, vector_real *out);
}} Suite;

extern const Suite suites[SUITES];

#endif
"""


def _suite_text(suite: Suite, numbers: Numbers) -> list[str]:
    stimulus, name = suite.stimulus, suite.name
    lines = [f"/* --- {name} --- */", "", f"static const Span {name}_spans[{len(stimulus.segments)}] = {{"]
    lines += [f"    {{{s.ticks}, {s.wave_ticks}}}," for s in stimulus.segments]
    lines += ["};", *folded(f"/* mean, swing and noise of {', '.join(stimulus.names)} */"),
              f"static const vector_real {name}_table[{len(stimulus.segments) * len(stimulus.names) * 3}] = {{"]
    for segment in stimulus.segments:
        flat = ", ".join(exact(v, numbers) for row in segment.inputs for v in row)
        lines += folded(f"    {flat},")
    sums = bit_sums(suite.rows)
    lines += ["};", f"static const uint64_t {name}_sums[{len(sums)}] = {{",
              *(f"    UINT64_C(0x{value:016x})," for value in sums), "};",
              f"static {suite.state} {name}_state;", "", f"static void {name}_start(void)", "{",
              f"    {name}_state = {suite.start};", "}", "",
              f"static void {name}_tick(const vector_real *in, vector_real *out)", "{",
              f"    {suite.state} *const state = &{name}_state;"]
    lines += [part for line in suite.call for part in folded(f"    {line}")]
    for i, (path, kind) in enumerate(suite.written):
        flag = f"{path} ? {numbers.literal(1.0)} : {numbers.literal(0.0)}"
        value = path if kind == REAL else flag if kind == FLAG else f"(vector_real){path}"
        lines.append(f"    out[{i}] = {value};")
    return [*lines, "}", ""]


def vectors_source(suites: list[Suite], numbers: Numbers, include: str) -> str:
    """`vectors.c`: stimulus, sums and ticks of all suites."""
    lines = ["/* Test vectors: see README.md. */", '#include "vectors.h"', "", "#include <math.h>", "",
             f'#include "{include}.h"', f'#include "{include}_settings.h"', ""]
    for suite in suites:
        lines += _suite_text(suite, numbers)
    lines.append("const Suite suites[SUITES] = {")
    for suite in suites:
        stimulus, name = suite.stimulus, suite.name
        counts = f"{stimulus.ticks}, {len(stimulus.segments)}, {len(stimulus.names)}, {len(suite.written)}"
        lines += [f'    {{"{name}", {counts}, {name}_spans, {name}_table,',
                  f"     {name}_sums, {name}_start, {name}_tick}},"]
    return "\n".join([*lines, "};", ""])


def vectors_csv(suite: Suite) -> str:
    """Some ticks in full: number of the tick, then value and bits of each input and output."""
    names = [*suite.stimulus.names, *suite.outputs]
    lines = ["tick," + ",".join(f"{name},{name} bits" for name in names)]
    digits = 2 * suite.rows.dtype.itemsize
    ticks = np.unique(np.linspace(0, len(suite.rows) - 1, SHOWN).astype(int))
    both = np.concatenate([suite.given[ticks], suite.rows[ticks]], axis=1)
    for tick, row, words in zip(ticks.tolist(), both.tolist(), words_of(both).tolist(), strict=True):
        cells = (f"{value:.17g},{word:0{digits}x}" for value, word in zip(row, words, strict=True))
        lines.append(f"{tick}," + ",".join(cells))
    return "\n".join([*lines, ""])
