#include "analyze/tables/wallclock.h"

/* Proleptic Gregorian calendar from days since 1970-01-01: years are counted from 1 March, so that the leap day is the
 * last of its year, in eras of 400 years (146,097 days). */
static void civil(int64_t days, int64_t *year, int *month, int *day)
{
    const int64_t z = days + 719468; /* days since 0000-03-01 */
    const int64_t era = (z >= 0 ? z : z - 146096) / 146097;
    const int64_t doe = z - era * 146097;
    const int64_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
    const int64_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    const int64_t mp = (5 * doy + 2) / 153; /* months from March */
    *day = (int)(doy - (153 * mp + 2) / 5 + 1);
    *month = (int)(mp < 10 ? mp + 3 : mp - 9);
    *year = yoe + era * 400 + (*month <= 2);
}

static char *digits(char *p, int64_t v, int n)
{
    for (int i = n - 1; i >= 0; i--) {
        p[i] = (char)('0' + v % 10);
        v /= 10;
    }
    return p + n;
}

size_t wallclock_put(char *out, const struct recording_info *info, int64_t t_ns)
{
    if (!info->start_known)
        return 0;
    const int64_t base_s = info->start_unix_ns / NS_PER_S, base_rest = info->start_unix_ns % NS_PER_S;
    int64_t s = base_s + t_ns / NS_PER_S, rest = base_rest + t_ns % NS_PER_S;
    s += rest / NS_PER_S;
    rest %= NS_PER_S;
    if (rest < 0) {
        rest += NS_PER_S;
        s--;
    }
    s += (int64_t)info->start_offset_min * 60;
    int64_t days = s / 86400, sod = s % 86400;
    if (sod < 0) {
        sod += 86400;
        days--;
    }
    int64_t year;
    int month, day;
    civil(days, &year, &month, &day);
    if (year < 1 || year > 9999)
        return 0;
    char *p = digits(out, year, 4);
    *p++ = '-';
    p = digits(p, month, 2);
    *p++ = '-';
    p = digits(p, day, 2);
    *p++ = 'T';
    p = digits(p, sod / 3600, 2);
    *p++ = ':';
    p = digits(p, sod / 60 % 60, 2);
    *p++ = ':';
    p = digits(p, sod % 60, 2);
    *p++ = '.';
    p = digits(p, rest / 1000000, 3);
    const int off = info->start_offset_min;
    if (off == 0) {
        *p++ = 'Z';
        return (size_t)(p - out);
    }
    *p++ = off < 0 ? '-' : '+';
    p = digits(p, (off < 0 ? -off : off) / 60, 2);
    *p++ = ':';
    p = digits(p, (off < 0 ? -off : off) % 60, 2);
    return (size_t)(p - out);
}
