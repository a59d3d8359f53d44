/* The interface between a pressure servo's firmware and the loop it is tried in.
 *
 * A design and teaching model. Not a medical device, and not for use on people.
 *
 * Write the three functions below; no heap is needed: the loop gives you SERVO_STATE_BYTES of memory, aligned for a
 * double, zero before servo_start. servo_tick is called once a tick, with samples in and the command out.
 */
#ifndef PRESSURE_SERVO_H
#define PRESSURE_SERVO_H

#include <stdint.h>

#define SERVO_VERSION 1U
#define SERVO_STATE_BYTES 65536U
#define SERVO_MODE_FILL 0  /* bring the cuff to fill_mmHg by its transducer */
#define SERVO_MODE_CLAMP 1 /* hold the light at set_point */
#define SERVO_MODE_VENT 2  /* let the air out */

/* What the firmware is given on a tick: 64 bytes. */
typedef struct {
    int64_t tick;
    int32_t mode;          /* SERVO_MODE_... */
    int32_t spare;
    double light;          /* share of full scale */
    double reading_mmHg;   /* cuff pressure by the transducer */
    double fill_mmHg;      /* pressure asked for in SERVO_MODE_FILL */
    double set_point;      /* light asked for in SERVO_MODE_CLAMP, share of full scale */
    double light_slope;    /* light per mmHg of cuff pressure at the set point */
    double period_s;       /* tick */
} servo_samples;

/* What it answers: 64 bytes. */
typedef struct {
    double command;        /* valve command, fraction of full command */
    int64_t limited;       /* not 0: a limit acted on it */
    double watch[6];       /* whatever you want to see: recorded as watch_0 ... watch_5 */
} servo_outcome;

/* Return SERVO_ABI: version and sizes, so that a packing that differs is noticed. */
#define SERVO_ABI ((SERVO_VERSION * 0x10000U) + (uint32_t)(sizeof(servo_samples) + sizeof(servo_outcome)))

#ifdef _WIN32
#define SERVO_API __declspec(dllexport)
#else
#define SERVO_API
#endif

SERVO_API uint32_t servo_abi(void);
SERVO_API void servo_start(void *state, double period_s);
SERVO_API void servo_tick(void *state, const servo_samples *in, servo_outcome *out);

#endif
