/* The default wrist rig's coupled loop, written by hand in C as an engineer would: the yardstick for the compiled
 * kernel. Same noise, same arithmetic, same trace; what is constant in a run, or in a tick, is worked out once in it.
 * What the rig has not is not here: converter steps (a flipped bit would hide the comparison), jitter, missed ticks,
 * a transducer at the valve end, more than one section of tube. With LUMPED the artery follows transmural pressure at once
 * and the cuff's air has one exponent: the four states of segment and heat are idle, as a measure of what they cost.
 */
#include <math.h>
#include <stdint.h>

#define INLINE static inline __attribute__((always_inline)) /* measured: a tenth quicker than leaving it to gcc */

enum { FILL, CLAMP, VENT };
enum { SUPPLY, SPOOL, SPEED, NODE, LINE, CUFF, CONTENT, EXTERNAL, EDGE, AXIAL, MIDDLE, CREEP, VEIN, PHOTODIODE, READING,
       STATES };
enum { CHANNELS = 19 };

typedef struct {
    /* tissue */ double transmission, tissue_lag;
    /* artery */ double maximal_area, unloaded, half_width, fast, creep_time, tone_area, tone_shift, tone_stiffening,
        tone_viscosity, collapse;
    /* its segment */ double source, inertance_peak, resistance_peak, middle_share, floor;
    /* vein */ double least, squeeze, emptying, filling;
    /* light */ double emitter, light_transmission, arterial_depth, venous_depth, photodiode_Hz, flicker, flicker_Hz,
        light_noise;
    /* valve */ double spool_Hz, spool_zeta, spool_slew, dead_band, hysteresis, conductance, critical, bleed;
    /* supply */ double set, supply_volume, pump, stall, regulator;
    /* air */ double atmosphere, temperature, exponent, laminar;
    /* line */ double node_volume, end_volume, inertance, resistance;
    /* cuff */ double volume, growth, half_growth, leak, exponent_fast, exchange;
    /* transducer */ double transducer_Hz, transducer_gain, transducer_offset, drift_tick, pressure_noise, full_scale;
    /* law */ double proportional, integral_new, integral_old, derivative_pole, derivative_gain;
    double lead_b0, lead_b1, lead_a1, notch_b0, notch_b1, notch_b2, notch_a1, notch_a2;
    double output_low, output_high, slew_tick, tracking;
    /* inverse */ double full_flow, believed_supply, believed_conductance, believed_critical, believed_dead_band,
        believed_bleed, believed_atmosphere, believed_temperature, believed_laminar;
    /* filling */ double fill_gain, fill_feedforward, handover;
    /* timing */ double period, share;
    int64_t whole_ticks, substeps, seed;
} rig_t;

/* worked out once a run from the rig, and once a tick from the tone */
typedef struct {
    double unit, most_open, open_scale, omega, spool_pull, spool_damping, expansion, drag, photodiode, transducer, full;
    double largest_area, unloaded, ambient, fast, below, above, scale, axial_inertance, axial_resistance, lift;
} derived_t;

typedef struct {
    double lead, notch_1, notch_2, integral, derivative, command, set_point; /* set point NAN: arrived */
    int64_t mode;
} firmware_t;

static const double REFERENCE = 100000.0 / 133.322, REFERENCE_K = 293.15;

INLINE double larger(double a, double b) { return a > b ? a : b; }
INLINE double smaller(double a, double b) { return a < b ? a : b; }
INLINE double clip(double x, double low, double high) { return smaller(larger(x, low), high); }

/* --- noise: SplitMix64 finaliser, then Box-Muller --- */

INLINE uint64_t scrambled(uint64_t v) {
    v += 0x9E3779B97F4A7C15u;
    v = (v ^ (v >> 30)) * 0xBF58476D1CE4E5B9u;
    v = (v ^ (v >> 27)) * 0x94D049BB133111EBu;
    return v ^ (v >> 31);
}

INLINE uint64_t stream(uint64_t seed, uint64_t channel) {
    return scrambled(seed) ^ scrambled(channel * 0x5851F42D4C957F2Du);
}

INLINE double uniform(uint64_t key, uint64_t count) {
    return (double)(scrambled(scrambled(key) ^ count) >> 11) * 0x1p-53;
}

INLINE double gaussian(uint64_t key, uint64_t tick) {
    double radius = sqrt(-2.0 * log(1.0 - uniform(key, 2 * tick)));
    return radius * cos(2.0 * M_PI * uniform(key, 2 * tick + 1));
}

/* --- plant --- */

/* `unit` is 1000/p_ref √(T0/T) */
INLINE double restriction(double atmosphere, double laminar, double unit, double conductance, double critical,
                                 double upstream, double downstream) {
    double first = upstream + atmosphere, second = downstream + atmosphere;
    double high = larger(first, second), low = smaller(first, second);
    double ratio = larger(low, 0.0) / high;
    double within = (larger(smaller(ratio, laminar), critical) - critical) / (1.0 - critical);
    double part = smaller((1.0 - ratio) / (1.0 - laminar), 1.0);
    return copysign(conductance * unit * high * sqrt(1.0 - within * within) * part, first - second);
}

INLINE double chamber(const rig_t *r, const derived_t *k, double volume, double growth, double pressure,
                             double inflow) {
    double n = r->exponent;
    return n * k->expansion * inflow / (volume + n * (pressure + r->atmosphere) * growth);
}

INLINE double area_target(const derived_t *k, double transmural) {
    double offset = transmural - k->unloaded, width = offset < 0.0 ? k->below : k->above;
    return k->largest_area * (0.5 * M_PI * k->below + width * atan(offset / width)) * k->scale;
}

/* 1/C of the segment's wall */
__attribute__((unused)) INLINE double per_storage(const rig_t *r, const derived_t *k, double transmural) {
    double offset = transmural - k->unloaded, share = offset / (offset < 0.0 ? k->below : k->above);
    double spread = 1.0 + share * share;
    return spread / (r->floor * spread + k->lift * k->scale);
}

INLINE void rates(const rig_t *r, const derived_t *k, const double *s, double arterial, double command,
                         double *d) {
    /* valve */
    double fill = clip(s[SPOOL] - r->dead_band, 0.0, k->most_open) * k->open_scale;
    double vent = clip(-s[SPOOL] - r->dead_band, 0.0, k->most_open) * k->open_scale;
    double filling = restriction(r->atmosphere, r->laminar, k->unit, fill, r->critical, s[SUPPLY], s[NODE]);
    double venting = restriction(r->atmosphere, r->laminar, k->unit, vent + r->bleed, r->critical, s[NODE], 0.0);
    double wanted = clip(k->spool_pull * (command - s[SPOOL]), -r->spool_slew, r->spool_slew);
    d[SPOOL] = s[SPEED];
    d[SPEED] = k->spool_damping * (wanted - s[SPEED]);
    /* supply */
    double available = larger(r->pump * (1.0 - s[SUPPLY] / r->stall), 0.0);
    double pump = smaller(larger(r->regulator * (r->set - s[SUPPLY]), 0.0), available);
    d[SUPPLY] = chamber(r, k, r->supply_volume, 0.0, s[SUPPLY], pump - filling);
    /* line: one section */
    d[NODE] = chamber(r, k, r->node_volume, 0.0, s[NODE], filling - venting - s[LINE]);
    double absolute = 0.5 * (s[NODE] + s[CUFF]) + r->atmosphere;
    d[LINE] = (s[NODE] - s[CUFF] - k->drag / absolute * s[LINE]) / r->inertance;
    /* cuff */
    double above = larger(s[CUFF], 0.0), reach = above + r->half_growth;
    double volume = r->volume + r->growth * s[CUFF] / reach + r->end_volume;
    double growth = r->growth * r->half_growth / (reach * reach);
#ifdef LUMPED
    d[CONTENT] = d[EDGE] = d[AXIAL] = d[MIDDLE] = 0.0;
    d[CUFF] = chamber(r, k, volume, growth, s[CUFF], s[LINE] - r->leak * s[CUFF]);
    double transmural = arterial - s[EXTERNAL];
#else
    double pressed = s[CUFF] + r->atmosphere;
    d[CONTENT] = s[LINE] - r->leak * s[CUFF];
    d[CUFF] = (r->exponent_fast * k->expansion * d[CONTENT] + r->exchange * (k->expansion * s[CONTENT] - pressed * volume)) /
              (volume + r->exponent_fast * pressed * growth);
    /* segment of artery, tissue, wall, veins */
    double entering = (arterial - s[EXTERNAL] - s[EDGE]) / r->source;
    d[EDGE] = (entering - s[AXIAL]) / (1.0 - r->middle_share) * per_storage(r, k, s[EDGE]);
    d[AXIAL] = (s[EDGE] - s[MIDDLE] - k->axial_resistance * s[AXIAL]) / k->axial_inertance;
    d[MIDDLE] = s[AXIAL] / r->middle_share * per_storage(r, k, s[MIDDLE]);
    double transmural = s[MIDDLE];
#endif
    d[EXTERNAL] = (r->transmission * s[CUFF] - s[EXTERNAL]) / r->tissue_lag;
    double target = area_target(k, transmural);
    double area = k->fast * target + (1.0 - k->fast) * s[CREEP];
    d[CREEP] = (target - s[CREEP]) / r->creep_time;
    double change = r->least + (1.0 - r->least) * exp(-larger(s[EXTERNAL], 0.0) / r->squeeze) - s[VEIN];
    d[VEIN] = larger(change, 0.0) / r->filling + smaller(change, 0.0) / r->emptying;
    /* light and transducer */
    double lit = k->full * exp(-(r->arterial_depth * area + r->venous_depth * s[VEIN])) + k->ambient;
    d[PHOTODIODE] = k->photodiode * (lit - s[PHOTODIODE]);
    d[READING] = k->transducer * (r->transducer_gain * s[CUFF] + r->transducer_offset - s[READING]);
}

/* one Runge-Kutta step; arterial pressure at its begin, middle and end */
INLINE void step(const rig_t *r, const derived_t *k, double *s, double begin, double middle, double end,
                        double h, double command) {
    double a[STATES], b[STATES], c[STATES], d[STATES], x[STATES];
    rates(r, k, s, begin, command, a);
    for (int i = 0; i < STATES; i++) x[i] = s[i] + 0.5 * h * a[i];
    rates(r, k, x, middle, command, b);
    for (int i = 0; i < STATES; i++) x[i] = s[i] + 0.5 * h * b[i];
    rates(r, k, x, middle, command, c);
    for (int i = 0; i < STATES; i++) x[i] = s[i] + h * c[i];
    rates(r, k, x, end, command, d);
    for (int i = 0; i < STATES; i++) s[i] += h * ((a[i] + 2.0 * (b[i] + c[i]) + d[i]) / 6.0);
}

/* from share `from` to share `to` of a tick under one command */
INLINE void piece(const rig_t *r, const derived_t *k, double *s, double start, double change, double from,
                         double to, double command) {
    int64_t steps = (int64_t)((double)r->substeps * (to - from) + 0.999999);
    if (steps < 1) steps = 1;
    double part = (to - from) / (double)steps;
    for (int64_t i = 0; i < steps; i++) {
        double at = from + (double)i * part;
        step(r, k, s, start + at * change, start + (at + 0.5 * part) * change, start + (at + part) * change,
             part * r->period, command);
    }
}

/* --- firmware --- */

typedef struct {
    double error, lead, notch, proportional, integral, derivative, demand;
} terms_t;

typedef struct {
    double fill, vent, bleed;
} flows_t;

INLINE double believed(const rig_t *r, double conductance, double upstream, double downstream) {
    double unit = 1000.0 / REFERENCE * sqrt(REFERENCE_K / r->believed_temperature);
    return restriction(r->believed_atmosphere, r->believed_laminar, unit, conductance, r->believed_critical, upstream,
                       downstream);
}

INLINE double inverse(const rig_t *r, const flows_t *f, double demand) {
    double flow = demand * r->full_flow + f->bleed;
    return larger(flow, 0.0) / f->fill + smaller(flow, 0.0) / f->vent + copysign(r->believed_dead_band, flow);
}

INLINE double achieved(const rig_t *r, const flows_t *f, double command) {
    double flow = larger(command - r->believed_dead_band, 0.0) * f->fill -
                  larger(-command - r->believed_dead_band, 0.0) * f->vent;
    return (flow - f->bleed) / r->full_flow;
}

INLINE int firmware(const rig_t *r, firmware_t *m, int64_t mode, double fill_target, double set_point,
                           double slope, double light, double reading, terms_t *t) {
    double pressure = clip(reading, 1.0, 0.98 * r->believed_supply);
    double scale = r->believed_conductance / (1.0 - r->believed_dead_band);
    flows_t f = {believed(r, scale, r->believed_supply, pressure), believed(r, scale, pressure, 0.0),
                 believed(r, r->believed_bleed, pressure, 0.0)};
    double rate = r->handover * slope * r->period, aim = set_point;
    if (mode == CLAMP && rate > 0.0 && !(m->mode == CLAMP && isnan(m->set_point))) {
        double last = m->mode == CLAMP ? m->set_point : light;
        aim = clip(set_point, last - rate, last + rate);
    }
    double error = (aim - light) / slope;
    if (mode == CLAMP && m->mode != CLAMP) { /* bumpless */
        double led = (r->lead_b0 + r->lead_b1) / (1.0 + r->lead_a1) * error;
        double clean = (r->notch_b0 + r->notch_b1 + r->notch_b2) / (1.0 + r->notch_a1 + r->notch_a2) * led;
        m->lead = led - r->lead_b0 * error;
        m->notch_1 = clean - r->notch_b0 * led;
        m->notch_2 = r->notch_b2 * led - r->notch_a2 * clean;
        m->integral = achieved(r, &f, m->command) - r->proportional * clean - r->integral_new * clean;
        m->derivative = -r->derivative_gain * clean;
    }
    t->error = error;
    t->lead = r->lead_b0 * error + m->lead;
    t->notch = r->notch_b0 * t->lead + m->notch_1;
    t->proportional = r->proportional * t->notch;
    t->integral = r->integral_new * t->notch + m->integral;
    t->derivative = r->derivative_gain * t->notch + m->derivative;
    t->demand = t->proportional + t->integral + t->derivative;
    double wanted = r->output_low;
    if (mode == CLAMP) wanted = inverse(r, &f, t->demand);
    else if (mode == FILL)
        wanted = inverse(r, &f, r->fill_gain * (fill_target - reading) + r->fill_feedforward * fill_target);
    double slewed = clip(wanted, m->command - r->slew_tick, m->command + r->slew_tick);
    double command = clip(slewed, r->output_low, r->output_high);
    int limited = command != wanted;
    if (mode == CLAMP) {
        double wind = limited ? achieved(r, &f, command) - achieved(r, &f, wanted) : 0.0;
        m->lead = r->lead_b1 * error - r->lead_a1 * t->lead;
        m->notch_1 = r->notch_b1 * t->lead - r->notch_a1 * t->notch + m->notch_2;
        m->notch_2 = r->notch_b2 * t->lead - r->notch_a2 * t->notch;
        m->integral = t->integral + r->integral_old * t->notch + r->tracking * wind;
        m->derivative = r->derivative_pole * t->derivative - r->derivative_gain * t->notch;
    }
    m->command = command;
    m->mode = mode;
    m->set_point = aim == set_point ? NAN : aim;
    return limited;
}

/* --- the loop --- */

/* Runs `ticks` ticks from tick 0; arterial, tone and ambient have one sample more. Returns the ticks done. */
int64_t run(const rig_t *rig, int64_t ticks, const double *restrict arterial, const double *restrict tone,
            const double *restrict ambient, const int64_t *restrict mode, const double *restrict fill_target,
            const double *restrict set_point, const double *restrict slope, double *restrict state,
            double *restrict pending, double *restrict trace) {
    const rig_t local = *rig, *r = &local;
    derived_t k;
    k.unit = 1000.0 / REFERENCE * sqrt(REFERENCE_K / r->temperature);
    k.most_open = 1.0 - r->dead_band;
    k.open_scale = r->conductance / (1.0 - r->dead_band);
    k.omega = 2.0 * M_PI * r->spool_Hz;
    k.spool_pull = k.omega / (2.0 * r->spool_zeta);
    k.spool_damping = 2.0 * r->spool_zeta * k.omega;
    k.expansion = REFERENCE * (r->temperature / REFERENCE_K);
    k.drag = r->resistance * k.expansion;
    k.photodiode = 2.0 * M_PI * r->photodiode_Hz;
    k.transducer = 2.0 * M_PI * r->transducer_Hz;
    k.full = r->emitter * r->light_transmission;
    double ratio = r->flicker_Hz / r->photodiode_Hz;
    double flicker = r->flicker / sqrt(1.0 + ratio * ratio), flicker_lag = atan(ratio);
    uint64_t light_key = stream((uint64_t)r->seed, 0), pressure_key = stream((uint64_t)r->seed, 1);
    int64_t ring = r->whole_ticks + 2;
    double half_play = 0.5 * r->hysteresis, played = 0.0, s[STATES];
    firmware_t m = {0.0, 0.0, 0.0, 0.0, 0.0, 0.0, NAN, FILL};
    for (int i = 0; i < STATES; i++) s[i] = state[i];

    int64_t tick = 0;
    for (; tick < ticks; tick++) {
        k.largest_area = r->maximal_area * exp(-r->tone_area * tone[tick]);
        k.unloaded = r->unloaded + r->tone_shift * tone[tick];
        double width = r->half_width * exp(r->tone_stiffening * tone[tick]);
        k.above = 2.0 * width / (1.0 + r->collapse);
        k.below = r->collapse * k.above;
        k.scale = 1.0 / (M_PI * width);
        k.fast = 1.0 / (1.0 + (1.0 / r->fast - 1.0) * exp(r->tone_viscosity * tone[tick]));
        double at_peak = r->collapse / (1.0 + r->collapse), peak = k.fast * k.scale;
        k.axial_inertance = r->inertance_peak / at_peak;
        k.axial_resistance = r->resistance_peak / (at_peak * at_peak);
        k.lift = k.fast * ((larger(peak, r->floor) - r->floor) / peak);
        k.ambient = ambient[tick];

        double light = s[PHOTODIODE] + r->light_noise * gaussian(light_key, (uint64_t)tick);
        if (flicker > 0.0)
            light += flicker * sin(2.0 * M_PI * r->flicker_Hz * ((double)tick * r->period) - flicker_lag);
        light = clip(light, 0.0, 1.0);
        double reading = s[READING] + r->drift_tick * (double)tick +
                         r->pressure_noise * gaussian(pressure_key, (uint64_t)tick);
        reading = clip(reading, -0.1 * r->full_scale, r->full_scale);

        terms_t t;
        int limited = firmware(r, &m, mode[tick], fill_target[tick], set_point[tick], slope[tick], light, reading, &t);
        pending[tick % ring] = m.command;

        double target = area_target(&k, s[MIDDLE]);
        double *row = trace + CHANNELS * tick;
        row[0] = arterial[tick], row[1] = s[CUFF], row[2] = s[NODE], row[3] = s[EXTERNAL], row[4] = s[SUPPLY];
        row[5] = k.fast * target + (1.0 - k.fast) * s[CREEP], row[6] = s[VEIN], row[7] = light, row[8] = reading;
        row[9] = m.command, row[10] = (double)mode[tick], row[11] = limited, row[12] = t.error, row[13] = t.lead;
        row[14] = t.notch, row[15] = t.proportional, row[16] = t.integral, row[17] = t.derivative, row[18] = t.demand;

        double due = pending[(tick + ring - r->whole_ticks) % ring];
        double arriving = clip(played, due - half_play, due + half_play);
        double change = arterial[tick + 1] - arterial[tick];
        if (r->share > 0.0) piece(r, &k, s, arterial[tick], change, 0.0, r->share, played);
        if (r->share < 1.0) piece(r, &k, s, arterial[tick], change, r->share, 1.0, arriving);
        played = arriving;
        if (!(fabs(s[CUFF]) < 3000.0 && fabs(s[PHOTODIODE]) < 1e6)) {
            tick++;
            break;
        }
    }
    for (int i = 0; i < STATES; i++) state[i] = s[i];
    return tick;
}
