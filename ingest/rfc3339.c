#include "ingest/rfc3339.h"

static int two(const char *p)
{
    if (p[0] < '0' || p[0] > '9' || p[1] < '0' || p[1] > '9')
        return -1;
    return (p[0] - '0') * 10 + (p[1] - '0');
}

/* Days since 1970-01-01 in the proleptic Gregorian calendar: years are counted from March, so that the leap
 * day is the year's last; 146097 days are 400 years. */
static int64_t days_from_civil(int64_t y, int m, int d)
{
    y -= m <= 2;
    int64_t era = y / 400;
    int64_t yoe = y - era * 400;
    int64_t doy = (153 * (m + (m > 2 ? -3 : 9)) + 2) / 5 + d - 1;
    return era * 146097 + yoe * 365 + yoe / 4 - yoe / 100 + doy - 719468;
}

static int month_days(int y, int m)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (y % 4 == 0 && y % 100 != 0) || y % 400 == 0;
    return m == 2 && leap ? 29 : days[m - 1];
}

/* Minutes east of UTC from the text's end. */
static bool parse_offset(const char *p, size_t n, int *minutes)
{
    *minutes = 0;
    if (n == 1 && (*p == 'Z' || *p == 'z'))
        return true;
    if (n != 6 || (p[0] != '+' && p[0] != '-') || p[3] != ':')
        return false;
    int h = two(p + 1), m = two(p + 4);
    if (h < 0 || h > 23 || m < 0 || m > 59)
        return false;
    *minutes = (p[0] == '-' ? -1 : 1) * (h * 60 + m);
    return true;
}

bool rfc3339_parse(const char *t, size_t n, int64_t *unix_ns, int *offset_min)
{
    if (n < 20 || t[4] != '-' || t[7] != '-' || (t[10] != 'T' && t[10] != 't' && t[10] != ' ') ||
        t[13] != ':' || t[16] != ':')
        return false;
    int y1 = two(t), y2 = two(t + 2), mo = two(t + 5), d = two(t + 8);
    int h = two(t + 11), mi = two(t + 14), s = two(t + 17);
    if (y1 < 0 || y2 < 0 || mo < 1 || mo > 12 || h < 0 || h > 23 || mi < 0 || mi > 59 || s < 0 || s > 60)
        return false;
    int y = y1 * 100 + y2;
    if (y < 1678 || y > 2261 || d < 1 || d > month_days(y, mo))
        return false;
    size_t i = 19;
    int64_t frac = 0, unit = 1000000000;
    if (t[i] == '.') {
        size_t first = ++i;
        for (; i < n && t[i] >= '0' && t[i] <= '9'; i++) {
            unit /= 10;
            frac += unit * (t[i] - '0');
        }
        if (i == first)
            return false;
    }
    int off;
    if (!parse_offset(t + i, n - i, &off))
        return false;
    int64_t sec = days_from_civil(y, mo, d) * 86400 + h * 3600 + mi * 60 + s - (int64_t)off * 60;
    if (s == 60) {
        int64_t of_day = ((sec - 1) % 86400 + 86400) % 86400;
        if (of_day != 86399)
            return false;
    }
    *unix_ns = sec * 1000000000 + frac;
    if (offset_min)
        *offset_min = off;
    return true;
}

static char *put(char *w, int64_t v, int width)
{
    for (int k = width; k-- > 0;) {
        w[k] = (char)('0' + v % 10);
        v /= 10;
    }
    return w + width;
}

size_t rfc3339_format(char buf[RFC3339_BUF], int64_t unix_ns, int offset_min, int places)
{
    int64_t sec = unix_ns / 1000000000, frac = unix_ns % 1000000000;
    if (frac < 0) {
        frac += 1000000000;
        sec--;
    }
    sec += (int64_t)offset_min * 60;
    int64_t days = sec / 86400, of_day = sec % 86400;
    if (of_day < 0) {
        of_day += 86400;
        days--;
    }
    /* The inverse of days_from_civil. */
    int64_t z = days + 719468, era = z / 146097, doe = z - era * 146097;
    int64_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
    int64_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    int64_t mp = (5 * doy + 2) / 153;
    int64_t m = mp + (mp < 10 ? 3 : -9);
    char *w = put(buf, yoe + era * 400 + (m <= 2), 4);
    *w++ = '-';
    w = put(w, m, 2);
    *w++ = '-';
    w = put(w, doy - (153 * mp + 2) / 5 + 1, 2);
    *w++ = 'T';
    w = put(w, of_day / 3600, 2);
    *w++ = ':';
    w = put(w, of_day / 60 % 60, 2);
    *w++ = ':';
    w = put(w, of_day % 60, 2);
    if (places > 0) {
        *w++ = '.';
        for (int k = 9; k > places; k--)
            frac /= 10;
        w = put(w, frac, places);
    }
    if (offset_min == 0) {
        *w++ = 'Z';
    } else {
        int a = offset_min < 0 ? -offset_min : offset_min;
        *w++ = offset_min < 0 ? '-' : '+';
        w = put(w, a / 60, 2);
        *w++ = ':';
        w = put(w, a % 60, 2);
    }
    *w = '\0';
    return (size_t)(w - buf);
}
