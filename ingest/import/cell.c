#include "ingest/import/cell.h"

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool same(const char *p, size_t n, const char *word)
{
    for (size_t i = 0; i < n; i++) {
        char c = (char)(p[i] >= 'A' && p[i] <= 'Z' ? p[i] - 'A' + 'a' : p[i]);
        if (word[i] == '\0' || c != word[i])
            return false;
    }
    return word[n] == '\0';
}

static enum cell word_kind(const char *p, size_t n)
{
    static const char *const missing[] = {"na", "n/a", "null", "none", "-", "--", "#n/a", "nat"};
    static const char *const infinite[] = {"inf", "infinity"};
    for (size_t i = 0; i < sizeof missing / sizeof missing[0]; i++)
        if (same(p, n, missing[i]))
            return CELL_MISSING;
    size_t sign = n > 0 && (*p == '-' || *p == '+');
    for (size_t i = 0; i < sizeof infinite / sizeof infinite[0]; i++)
        if (same(p + sign, n - sign, infinite[i]))
            return CELL_INF;
    return same(p + sign, n - sign, "nan") ? CELL_NAN : CELL_TEXT;
}

/* H:MM, and yyyy-mm-dd before it. */
static bool time_like(const char *p, size_t n)
{
    size_t colons = 0;
    for (size_t i = 0; i < n; i++) {
        char c = p[i];
        if (c == ':')
            colons++;
        else if (!is_digit(c) && c != '-' && c != '+' && c != '.' && c != ',' && c != ' ' && c != 'T' && c != 't' &&
                 c != 'Z' && c != 'z')
            return false;
    }
    return n >= 4 && is_digit(p[0]) && colons >= 1 && colons <= 3;
}

enum cell cell_kind(const char *p, size_t n)
{
    if (n == 0)
        return CELL_EMPTY;
    size_t i = p[0] == '-' || p[0] == '+';
    size_t digits = 0;
    char point = '\0';
    for (; i < n && (is_digit(p[i]) || (!point && (p[i] == '.' || p[i] == ','))); i++) {
        if (is_digit(p[i]))
            digits++;
        else
            point = p[i];
    }
    if (digits > 0 && i < n && (p[i] == 'e' || p[i] == 'E')) {
        i++;
        i += i < n && (p[i] == '-' || p[i] == '+');
        size_t first = i;
        while (i < n && is_digit(p[i]))
            i++;
        if (i == first)
            return CELL_TEXT;
    }
    if (digits > 0 && i == n)
        return point == ',' ? CELL_COMMA : CELL_NUMBER;
    return time_like(p, n) ? CELL_TIME : word_kind(p, n);
}

bool cell_is_data(enum cell c)
{
    return c != CELL_EMPTY && c != CELL_TEXT;
}
