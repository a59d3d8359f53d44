/* Runs the firmware on the stimulus of vectors.c and compares every bit of every output.
 * Exit status 0: all the same. 1: some differ. 2: this build contracts or reorders arithmetic.
 * `check SUITE FIRST LAST` prints those ticks as vectors_SUITE.csv has them: tick, then decimal value and bits of
 * each input and output.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "vectors.h"

#define FNV_OFFSET UINT64_C(0xcbf29ce484222325)
#define FNV_PRIME UINT64_C(0x100000001b3)
#define ONE_NAN UINT64_C(0x7fc00000)
#define MOST_NUMBERS 512

/* Bits of a value; every NaN counts as one, for its payload differs from processor to processor. */
static uint64_t bits_of_value(vector_real value)
{
    vector_word seen;
    (void)memcpy(&seen, &value, sizeof seen);
    return (value == value) ? (uint64_t)seen : ONE_NAN;
}

/* One tick of inputs: mean + swing * triangle + noise * (uniform - 1/2). */
static void stimulus(const Suite *suite, int32_t segment, int32_t place, uint32_t *word, vector_real *in)
{
    const vector_real period = (vector_real)suite->spans[segment].wave_ticks;
    const vector_real share = (vector_real)(place % suite->spans[segment].wave_ticks) * (vector_real)(REAL(1.0) / period);
    const vector_real half = share - REAL(0.5);
    const vector_real triangle = (((half < REAL(0.0)) ? -half : half) * REAL(4.0)) - REAL(1.0);
    for (int32_t i = 0; i < suite->inputs; i++) {
        const vector_real *row = &suite->table[((segment * suite->inputs) + i) * 3];
        *word = (*word * UINT32_C(1664525)) + UINT32_C(1013904223);
        const vector_real uniform = (vector_real)(*word >> 8) * REAL(5.9604644775390625e-08);
        in[i] = (row[0] + (row[1] * triangle)) + (row[2] * (uniform - REAL(0.5)));
    }
}

/* Values as decimal and as bits. */
static void show(const vector_real *values, int32_t count)
{
    for (int32_t i = 0; i < count; i++) {
        (void)printf(",%.17g,%0*" PRIx64, (double)values[i], (int)(2U * sizeof values[i]), bits_of_value(values[i]));
    }
}

/* Runs one suite; prints ticks first to last, or else how many blocks of ticks differ. Returns that number. */
static int run(const Suite *suite, int printing, long first, long last)
{
    static vector_real in[MOST_NUMBERS];
    static vector_real out[MOST_NUMBERS];
    uint64_t sum = FNV_OFFSET;
    uint32_t word = VECTOR_SEED;
    int32_t tick = 0;
    int32_t block = 0;
    int failures = 0;
    suite->start();
    for (int32_t segment = 0; segment < suite->segments; segment++) {
        for (int32_t place = 0; place < suite->spans[segment].ticks; place++) {
            stimulus(suite, segment, place, &word, in);
            suite->tick(in, out);
            for (int32_t i = 0; i < suite->outputs; i++) {
                sum = (sum ^ bits_of_value(out[i])) * FNV_PRIME;
            }
            if ((printing != 0) && (tick >= first) && (tick <= last)) {
                (void)printf("%ld", (long)tick);
                show(in, suite->inputs);
                show(out, suite->outputs);
                (void)printf("\n");
            }
            tick++;
            if (((tick % BLOCK_TICKS) == 0) || (tick == suite->ticks)) {
                if (sum != suite->sums[block]) {
                    failures++;
                    (void)fprintf(stderr, "%s: ticks %ld to %ld differ\n", suite->name, (long)block * BLOCK_TICKS,
                                  (long)tick - 1L);
                }
                sum = FNV_OFFSET;
                block++;
            }
        }
    }
    if (printing == 0) {
        (void)printf("%s: %ld ticks, %ld values, %d of %ld blocks of %d ticks differ\n", suite->name, (long)tick,
                     (long)tick * suite->outputs, failures, (long)block, BLOCK_TICKS);
    }
    return failures;
}

/* a * a - c is nothing when the product is rounded, and something when it is fused with the subtraction. */
static int is_contracted(void)
{
    volatile vector_real start = REAL(1.0);
    const vector_real a = start + VECTOR_SMALL;
    const vector_real c = start + (REAL(2.0) * VECTOR_SMALL);
    const vector_real rest = (a * a) - c;
    return (rest > REAL(0.0)) || (rest < REAL(0.0));
}

int main(int count, char **texts)
{
    int failures = 0;
    if (is_contracted()) {
        (void)fprintf(stderr, "this build fuses multiplications and additions: use -ffp-contract=off\n");
        return 2;
    }
    for (int32_t i = 0; i < SUITES; i++) {
        if (count != 4) {
            failures += run(&suites[i], 0, 0, 0);
        } else if (strcmp(texts[1], suites[i].name) == 0) {
            (void)run(&suites[i], 1, atol(texts[2]), atol(texts[3]));
        } else {
            /* not the suite that was asked for */
        }
    }
    return (failures == 0) ? 0 : 1;
}
