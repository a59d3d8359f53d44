/* What the wheel's compiler leaves to a C library and emitted firmware uses. All of it is exact. */
#include <stdint.h>
#include <string.h>

#define SIGN_64 UINT64_C(0x8000000000000000)
#define SIGN_32 UINT32_C(0x80000000)

double copysign(double value, double sign);
float copysignf(float value, float sign);
double ldexp(double value, int exponent);
float ldexpf(float value, int exponent);

double copysign(double value, double sign)
{
    uint64_t bits;
    uint64_t other;
    (void)memcpy(&bits, &value, sizeof bits);
    (void)memcpy(&other, &sign, sizeof other);
    bits = (bits & ~SIGN_64) | (other & SIGN_64);
    (void)memcpy(&value, &bits, sizeof bits);
    return value;
}

float copysignf(float value, float sign)
{
    uint32_t bits;
    uint32_t other;
    (void)memcpy(&bits, &value, sizeof bits);
    (void)memcpy(&other, &sign, sizeof other);
    bits = (bits & ~SIGN_32) | (other & SIGN_32);
    (void)memcpy(&value, &bits, sizeof bits);
    return value;
}

/* Exact while neither the value nor the result is subnormal. */
double ldexp(double value, int exponent)
{
    for (; exponent > 0; exponent--) {
        value *= 2.0;
    }
    for (; exponent < 0; exponent++) {
        value *= 0.5;
    }
    return value;
}

float ldexpf(float value, int exponent)
{
    return (float)ldexp((double)value, exponent);
}
