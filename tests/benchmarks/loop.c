/* The default wrist rig's coupled loop, written by hand in C as an engineer would: the yardstick for the compiled
 * kernel. Same arithmetic, same order of operations where it matters, converters' steps off (a flipped bit would hide
 * the comparison). One array of doubles holds the state:
 *   0 supply, 1 spool, 2 spool speed, 3 node, 4 line flow, 5 cuff, 6 external, 7 creep, 8 vein, 9 photodiode, 10 reading
 */
#include <math.h>
#include <stdint.h>
#include <string.h>

enum { STATES = 11, CHANNELS = 19, FILL = 0, CLAMP = 1, VENT = 2 };

typedef struct {
    /* tissue */ double transmission, tissue_lag;
    /* artery */ double largest_area, unloaded, half_width, fast, creep_time; /* tone already in: it is constant here */
    /* vein */ double least, squeeze, emptying, filling;
    /* light */ double emitter, light_transmission, arterial_depth, venous_depth, photodiode_Hz, ambient, light_noise;
    /* valve */ double spool_Hz, spool_zeta, spool_slew, dead_band, conductance, critical, bleed;
    /* supply */ double set, supply_volume, pump, stall, regulator;
    /* air */ double atmosphere, temperature, exponent, laminar;
    /* tube, one section */ double node_volume, end_volume, inertance, resistance;
    /* cuff */ double volume, growth, half_growth, leak;
    /* transducer */ double transducer_Hz, transducer_gain, transducer_offset, pressure_noise, full_scale;
    /* inverse */ double full_flow, believed_supply, believed_conductance, believed_critical, believed_dead_band,
        believed_bleed, believed_atmosphere;
    /* filling */ double fill_gain, fill_feedforward;
    /* targets */ double fill_pressure, set_point, light_slope;
    /* timing */ double period;
    int64_t substeps, whole_ticks, fill_ticks, seed;
} rig_t;

static const double PA = 133.322, REFERENCE = 100000.0 / 133.322, REFERENCE_K = 293.15;

static inline double clip(double x, double low, double high) { return fmin(fmax(x, low), high); }

static inline double restriction(double atmosphere, double kelvin, double laminar, double conductance, double critical,
                                 double upstream, double downstream) {
    double first = upstream + atmosphere, second = downstream + atmosphere;
    double high = first > second ? first : second, low = first > second ? second : first;
    double ratio = (low > 0.0 ? low : 0.0) / high;
    double bounded = ratio < laminar ? ratio : laminar;
    double within = ((bounded > critical ? bounded : critical) - critical) / (1.0 - critical);
    double part = (1.0 - ratio) / (1.0 - laminar);
    if (part > 1.0) part = 1.0;
    double flow = conductance * (1000.0 / REFERENCE) * sqrt(REFERENCE_K / kelvin) * high * sqrt(1.0 - within * within) * part;
    return copysign(flow, first - second);
}

static inline double chamber(const rig_t *r, double volume, double growth, double pressure, double inflow) {
    return r->exponent * REFERENCE * inflow / (volume + r->exponent * (pressure + r->atmosphere) * growth);
}

static inline double area_target(const rig_t *r, double arterial, double external) {
    return r->largest_area * (0.5 + atan((arterial - external - r->unloaded) / r->half_width) / M_PI);
}

static inline void rates(const rig_t *r, const double *s, double arterial, double command, double *d) {
    /* valve */
    double scale = r->conductance / (1.0 - r->dead_band);
    double most = 1.0 - r->dead_band;
    double fill = fmin(fmax(s[1] - r->dead_band, 0.0), most) * scale;
    double vent = fmin(fmax(-s[1] - r->dead_band, 0.0), most) * scale;
    double filling = restriction(r->atmosphere, r->temperature, r->laminar, fill, r->critical, s[0], s[3]);
    double venting = restriction(r->atmosphere, r->temperature, r->laminar, vent + r->bleed, r->critical, s[3], 0.0);
    double omega = 2.0 * M_PI * r->spool_Hz, twice = 2.0 * r->spool_zeta;
    double wanted = omega / twice * (command - s[1]);
    d[1] = s[2];
    d[2] = twice * omega * (clip(wanted, -r->spool_slew, r->spool_slew) - s[2]);
    /* supply */
    double available = fmax(r->pump * (1.0 - s[0] / r->stall), 0.0);
    double pump = fmin(fmax(r->regulator * (r->set - s[0]), 0.0), available);
    d[0] = chamber(r, r->supply_volume, 0.0, s[0], pump - filling);
    /* line: one section */
    d[3] = chamber(r, r->node_volume, 0.0, s[3], filling - venting - s[4]);
    double absolute = 0.5 * (s[3] + s[5]) + r->atmosphere;
    d[4] = (s[3] - s[5] - r->resistance * REFERENCE / absolute * s[4]) / r->inertance;
    /* cuff */
    double p = fmax(s[5], 0.0), reach = p + r->half_growth;
    double volume = r->volume + r->growth * p / reach + r->end_volume;
    double growth = r->growth * r->half_growth / (reach * reach);
    d[5] = chamber(r, volume, growth, s[5], s[4] - r->leak * s[5]);
    /* tissue, wall, veins */
    d[6] = (r->transmission * s[5] - s[6]) / r->tissue_lag;
    double target = area_target(r, arterial, s[6]);
    double area = r->fast * target + (1.0 - r->fast) * s[7];
    d[7] = (target - s[7]) / r->creep_time;
    double change = r->least + (1.0 - r->least) * exp(-fmax(s[6], 0.0) / r->squeeze) - s[8];
    d[8] = fmax(change, 0.0) / r->filling + fmin(change, 0.0) / r->emptying;
    /* light and transducer */
    double lit = r->emitter * r->light_transmission * exp(-(r->arterial_depth * area + r->venous_depth * s[8])) + r->ambient;
    d[9] = 2.0 * M_PI * r->photodiode_Hz * (lit - s[9]);
    d[10] = 2.0 * M_PI * r->transducer_Hz * (r->transducer_gain * s[5] + r->transducer_offset - s[10]);
}

static void step(const rig_t *r, double *s, double begin, double middle, double end, double h, double command) {
    double a[STATES], b[STATES], c[STATES], d[STATES], x[STATES];
    rates(r, s, begin, command, a);
    for (int i = 0; i < STATES; i++) x[i] = s[i] + 0.5 * h * a[i];
    rates(r, x, middle, command, b);
    for (int i = 0; i < STATES; i++) x[i] = s[i] + 0.5 * h * b[i];
    rates(r, x, middle, command, c);
    for (int i = 0; i < STATES; i++) x[i] = s[i] + h * c[i];
    rates(r, x, end, command, d);
    for (int i = 0; i < STATES; i++) s[i] += h * ((a[i] + 2.0 * (b[i] + c[i]) + d[i]) / 6.0);
}
