/* The functions of FMI 3.0 (Modelica Association, 2022) for co-simulation around a model that moves in ticks.
 *
 * model.h gives Model (plain data, no pointers), its counts, and model_start, model_tick and model_output. A
 * communication step is a whole number of ticks; inputs are held over it.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "model.h"

#ifdef _WIN32
#define EXPORT __declspec(dllexport)
#else
#define EXPORT __attribute__((visibility("default")))
#endif

typedef enum { OK, WARNING, DISCARD, ERROR, FATAL } Status;
typedef void (*LogMessage)(void *environment, Status status, const char *category, const char *message);

typedef struct {
    Model model;
    double start;  /* time of tick 0 */
    int64_t ticks; /* done */
    bool initialising;
} Kept;

typedef struct {
    Kept kept;
    void *environment;
    LogMessage log;
} Instance;

static Status complain(const Instance *instance, const char *message)
{
    if (instance->log != NULL) {
        instance->log(instance->environment, ERROR, "logStatusError", message);
    }
    return ERROR;
}

EXPORT const char *fmi3GetVersion(void)
{
    return "3.0";
}

EXPORT Status fmi3SetDebugLogging(void *instance, bool on, size_t count, const char *const *categories)
{
    (void)instance;
    (void)on;
    (void)count;
    (void)categories;
    return OK;
}

EXPORT void *fmi3InstantiateCoSimulation(const char *name, const char *token, const char *resources, bool visible,
    bool logging, bool events, bool early_return, const uint32_t *required, size_t count, void *environment,
    LogMessage log, void *update)
{
    Instance *const made = (strcmp(token, MODEL_TOKEN) == 0) && !events ? calloc(1, sizeof(Instance)) : NULL;
    (void)name;
    (void)resources;
    (void)visible;
    (void)early_return;
    (void)required;
    (void)count;
    (void)update;
    if (made != NULL) {
        made->environment = environment;
        made->log = logging ? log : NULL;
        model_start(&made->kept.model);
    }
    return made;
}

EXPORT void fmi3FreeInstance(void *instance)
{
    free(instance);
}

EXPORT Status fmi3EnterInitializationMode(void *instance, bool has_tolerance, double tolerance, double start,
    bool has_stop, double stop)
{
    Instance *const own = instance;
    (void)has_tolerance;
    (void)tolerance;
    (void)has_stop;
    (void)stop;
    own->kept.start = start;
    own->kept.ticks = 0;
    own->kept.initialising = true;
    return OK;
}

EXPORT Status fmi3ExitInitializationMode(void *instance)
{
    Instance *const own = instance;
    own->kept.initialising = false;
    model_begin(&own->kept.model);
    model_output(&own->kept.model);
    return OK;
}

EXPORT Status fmi3Terminate(void *instance)
{
    (void)instance;
    return OK;
}

EXPORT Status fmi3Reset(void *instance)
{
    Instance *const own = instance;
    (void)memset(&own->kept, 0, sizeof own->kept);
    model_start(&own->kept.model);
    return OK;
}

/* --- values: references are first of its type + place --- */

EXPORT Status fmi3GetFloat64(void *instance, const uint32_t *references, size_t count, double *values, size_t length)
{
    Instance *const own = instance;
    if (own->kept.initialising) {
        model_begin(&own->kept.model);
        model_output(&own->kept.model);
    }
    for (size_t i = 0; (i < count) && (i < length); i++) {
        if (references[i] == TIME_REFERENCE) {
            values[i] = own->kept.start + ((double)own->kept.ticks * MODEL_PERIOD);
        } else if (references[i] < MODEL_REALS) {
            values[i] = own->kept.model.reals[references[i]];
        } else {
            return complain(own, "fmi3GetFloat64: there is no such variable");
        }
    }
    return OK;
}

EXPORT Status fmi3SetFloat64(void *instance, const uint32_t *references, size_t count, const double *values,
    size_t length)
{
    Instance *const own = instance;
    for (size_t i = 0; (i < count) && (i < length); i++) {
        if (references[i] >= MODEL_REAL_INPUTS) {
            return complain(own, "fmi3SetFloat64: there is no such input");
        }
        own->kept.model.reals[references[i]] = values[i];
    }
    return OK;
}

EXPORT Status fmi3GetInt32(void *instance, const uint32_t *references, size_t count, int32_t *values, size_t length)
{
    const Instance *const own = instance;
    for (size_t i = 0; (i < count) && (i < length); i++) {
        const uint32_t place = references[i] - WHOLE_REFERENCE;
        if (place >= MODEL_WHOLES) {
            return complain(own, "fmi3GetInt32: there is no such variable");
        }
        values[i] = own->kept.model.wholes[place];
    }
    return OK;
}

EXPORT Status fmi3SetInt32(void *instance, const uint32_t *references, size_t count, const int32_t *values,
    size_t length)
{
    Instance *const own = instance;
    for (size_t i = 0; (i < count) && (i < length); i++) {
        const uint32_t place = references[i] - WHOLE_REFERENCE;
        if (place >= MODEL_WHOLES) {
            return complain(own, "fmi3SetInt32: there is no such input");
        }
        own->kept.model.wholes[place] = values[i];
    }
    return OK;
}

EXPORT Status fmi3GetBoolean(void *instance, const uint32_t *references, size_t count, bool *values, size_t length)
{
    const Instance *const own = instance;
    for (size_t i = 0; (i < count) && (i < length); i++) {
        if (references[i] != FLAG_REFERENCE) {
            return complain(own, "fmi3GetBoolean: there is no such variable");
        }
        values[i] = own->kept.model.flag;
    }
    return OK;
}

/* --- steps --- */

EXPORT Status fmi3DoStep(void *instance, double now, double step, bool no_return, bool *event, bool *terminate,
    bool *early, double *reached)
{
    Instance *const own = instance;
    const double wanted = step / MODEL_PERIOD;
    const int64_t ticks = (int64_t)(wanted + 0.5);
    const double off = wanted - (double)ticks;
    const double late = ((now - own->kept.start) / MODEL_PERIOD) - (double)own->kept.ticks;
    (void)no_return;
    *event = false;
    *terminate = false;
    *early = false;
    *reached = now;
    if ((ticks < 1) || (off > 1e-3) || (off < -1e-3)) {
        return complain(own, "fmi3DoStep: the step must be a whole number of ticks");
    }
    if ((late > 1e-3) || (late < -1e-3)) {
        return complain(own, "fmi3DoStep: the step does not begin where the last one ended");
    }
    for (int64_t i = 0; i < ticks; i++) {
        model_tick(&own->kept.model);
        own->kept.ticks++;
    }
    model_output(&own->kept.model);
    *reached = now + step;
    return OK;
}

/* --- the whole state, to keep, to give back, and as bytes --- */

EXPORT Status fmi3GetFMUState(void *instance, void **state)
{
    const Instance *const own = instance;
    if (*state == NULL) {
        *state = malloc(sizeof(Kept));
    }
    if (*state == NULL) {
        return complain(own, "fmi3GetFMUState: no memory");
    }
    (void)memcpy(*state, &own->kept, sizeof(Kept));
    return OK;
}

EXPORT Status fmi3SetFMUState(void *instance, void *state)
{
    Instance *const own = instance;
    (void)memcpy(&own->kept, state, sizeof(Kept));
    return OK;
}

EXPORT Status fmi3FreeFMUState(void *instance, void **state)
{
    (void)instance;
    free(*state);
    *state = NULL;
    return OK;
}

EXPORT Status fmi3SerializedFMUStateSize(void *instance, void *state, size_t *size)
{
    (void)instance;
    (void)state;
    *size = sizeof(Kept);
    return OK;
}

EXPORT Status fmi3SerializeFMUState(void *instance, void *state, uint8_t *bytes, size_t size)
{
    if (size != sizeof(Kept)) {
        return complain(instance, "fmi3SerializeFMUState: another size than this state's");
    }
    (void)memcpy(bytes, state, size);
    return OK;
}

EXPORT Status fmi3DeserializeFMUState(void *instance, const uint8_t *bytes, size_t size, void **state)
{
    if (size != sizeof(Kept)) {
        return complain(instance, "fmi3DeserializeFMUState: another size than this state's");
    }
    if (*state == NULL) {
        *state = malloc(sizeof(Kept));
    }
    if (*state == NULL) {
        return complain(instance, "fmi3DeserializeFMUState: no memory");
    }
    (void)memcpy(*state, bytes, size);
    return OK;
}

/* --- what the standard wants to be there and this unit does not do. Arguments are the caller's to clear away. --- */

#define NOT_HERE(name) EXPORT Status name(void) { return ERROR; }
#define NO_INSTANCE(name) EXPORT void *name(void) { return NULL; }

NO_INSTANCE(fmi3InstantiateModelExchange)
NO_INSTANCE(fmi3InstantiateScheduledExecution)
NOT_HERE(fmi3GetFloat32)
NOT_HERE(fmi3SetFloat32)
NOT_HERE(fmi3GetInt8)
NOT_HERE(fmi3SetInt8)
NOT_HERE(fmi3GetUInt8)
NOT_HERE(fmi3SetUInt8)
NOT_HERE(fmi3GetInt16)
NOT_HERE(fmi3SetInt16)
NOT_HERE(fmi3GetUInt16)
NOT_HERE(fmi3SetUInt16)
NOT_HERE(fmi3GetUInt32)
NOT_HERE(fmi3SetUInt32)
NOT_HERE(fmi3GetInt64)
NOT_HERE(fmi3SetInt64)
NOT_HERE(fmi3GetUInt64)
NOT_HERE(fmi3SetUInt64)
NOT_HERE(fmi3GetString)
NOT_HERE(fmi3SetString)
NOT_HERE(fmi3GetBinary)
NOT_HERE(fmi3SetBinary)
NOT_HERE(fmi3GetClock)
NOT_HERE(fmi3SetClock)
NOT_HERE(fmi3SetBoolean)
NOT_HERE(fmi3EnterEventMode)
NOT_HERE(fmi3GetNumberOfVariableDependencies)
NOT_HERE(fmi3GetVariableDependencies)
NOT_HERE(fmi3GetDirectionalDerivative)
NOT_HERE(fmi3GetAdjointDerivative)
NOT_HERE(fmi3EnterConfigurationMode)
NOT_HERE(fmi3ExitConfigurationMode)
NOT_HERE(fmi3GetIntervalDecimal)
NOT_HERE(fmi3GetIntervalFraction)
NOT_HERE(fmi3GetShiftDecimal)
NOT_HERE(fmi3GetShiftFraction)
NOT_HERE(fmi3SetIntervalDecimal)
NOT_HERE(fmi3SetIntervalFraction)
NOT_HERE(fmi3SetShiftDecimal)
NOT_HERE(fmi3SetShiftFraction)
NOT_HERE(fmi3EvaluateDiscreteStates)
NOT_HERE(fmi3UpdateDiscreteStates)
NOT_HERE(fmi3EnterContinuousTimeMode)
NOT_HERE(fmi3CompletedIntegratorStep)
NOT_HERE(fmi3SetTime)
NOT_HERE(fmi3SetContinuousStates)
NOT_HERE(fmi3GetContinuousStateDerivatives)
NOT_HERE(fmi3GetEventIndicators)
NOT_HERE(fmi3GetContinuousStates)
NOT_HERE(fmi3GetNominalsOfContinuousStates)
NOT_HERE(fmi3GetNumberOfEventIndicators)
NOT_HERE(fmi3GetNumberOfContinuousStates)
NOT_HERE(fmi3EnterStepMode)
NOT_HERE(fmi3GetOutputDerivatives)
NOT_HERE(fmi3ActivateModelPartition)
