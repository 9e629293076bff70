#include "analyze/tables/number.h"

#include <math.h>
#include <string.h>

static const int64_t tens[] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000, 1000000000};
#define SCALED_MAX INT64_C(999999999999999999)

/* hi:lo = a * b, schoolbook in 32-bit halves: ISO C has no 128-bit integer. */
static void multiply(uint64_t a, uint64_t b, uint64_t *hi, uint64_t *lo)
{
    const uint64_t a0 = a & 0xffffffffu, a1 = a >> 32, b0 = b & 0xffffffffu, b1 = b >> 32;
    const uint64_t p00 = a0 * b0, p01 = a0 * b1, p10 = a1 * b0, p11 = a1 * b1;
    const uint64_t mid = (p00 >> 32) + (p01 & 0xffffffffu) + (p10 & 0xffffffffu);
    *lo = (mid << 32) | (p00 & 0xffffffffu);
    *hi = p11 + (p01 >> 32) + (p10 >> 32) + (mid >> 32);
}

/* The 128-bit value shifted right by n (1..127), rounded half to even; the result is known to fit 64 bits. */
static uint64_t shift_round(uint64_t hi, uint64_t lo, int n)
{
    uint64_t kept, half, rest; /* what stays, the bit below it, whether anything stands below that */
    if (n < 64) {
        kept = (hi << (64 - n)) | (lo >> n);
        half = (lo >> (n - 1)) & 1u;
        rest = lo & ((UINT64_C(1) << (n - 1)) - 1);
    } else if (n == 64) {
        kept = hi;
        half = lo >> 63;
        rest = lo << 1;
    } else {
        kept = hi >> (n - 64);
        half = (hi >> (n - 65)) & 1u;
        rest = (hi & ((UINT64_C(1) << (n - 65)) - 1)) | lo;
    }
    return kept + (half && (rest || (kept & 1u)) ? 1u : 0u);
}

bool number_scaled(double v, int decimals, int64_t *out)
{
    *out = 0;
    if (!isfinite(v) || decimals < 0 || decimals > NUMBER_DECIMALS_MAX)
        return false;
    if (fabs(v) * (double)tens[decimals] > 9e17)
        return false;
    /* |v| = m 2^(e-53), read from the bits (IEEE 754 binary64); what is too small for a normal number ends as 0. */
    uint64_t bits;
    memcpy(&bits, &v, sizeof bits);
    const int e = (int)(bits >> 52 & 0x7ff) - 1022;
    const uint64_t m = e == -1022 ? 0 : (bits & ((UINT64_C(1) << 52) - 1)) | UINT64_C(1) << 52;
    uint64_t hi = 0, lo;
    if (decimals <= 3)
        lo = m * (uint64_t)tens[decimals]; /* below 2^63 */
    else
        multiply(m, (uint64_t)tens[decimals], &hi, &lo);
    const int n = 53 - e;
    uint64_t r;
    if (n <= 0)
        r = lo << -n; /* below 9e17, so nothing is lost */
    else if (n > 100)
        r = 0; /* m * 10^9 < 2^83: far under a half */
    else
        r = shift_round(hi, lo, n);
    if (r > (uint64_t)SCALED_MAX)
        return false;
    *out = signbit(v) ? -(int64_t)r : (int64_t)r;
    return true;
}

size_t number_put_scaled(char *out, int64_t scaled, int decimals)
{
    char text[NUMBER_MAX];
    size_t at = NUMBER_MAX;
    uint64_t u = scaled < 0 ? (uint64_t)0 - (uint64_t)scaled : (uint64_t)scaled;
    for (int i = 0; i < decimals; i++) {
        text[--at] = (char)('0' + u % 10);
        u /= 10;
    }
    if (decimals > 0)
        text[--at] = '.';
    do {
        text[--at] = (char)('0' + u % 10);
        u /= 10;
    } while (u > 0);
    if (scaled < 0)
        text[--at] = '-';
    memcpy(out, text + at, NUMBER_MAX - at);
    return NUMBER_MAX - at;
}

size_t number_put(char *out, double v, int decimals)
{
    int64_t scaled;
    return number_scaled(v, decimals, &scaled) ? number_put_scaled(out, scaled, decimals) : 0;
}

size_t number_put_ns(char *out, int64_t ns)
{
    /* To milliseconds, half to even. Division in C goes towards zero, so the rest has the sign of ns. */
    int64_t ms = ns / 1000000;
    const int64_t rest = ns % 1000000, mag = rest < 0 ? -rest : rest;
    if (mag > 500000 || (mag == 500000 && (ms & 1)))
        ms += ns < 0 ? -1 : 1;
    return number_put_scaled(out, ms, 3);
}
