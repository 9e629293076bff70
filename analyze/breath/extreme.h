/* Larger and smaller of two numbers, inline. Unlike fmax and fmin they say nothing about NAN: where one may
 * be NAN, use those. (The library's are calls that cost more than the comparison.) */
#ifndef TIDEMARK_ANALYZE_EXTREME_H
#define TIDEMARK_ANALYZE_EXTREME_H

static inline double larger(double a, double b)
{
    return a > b ? a : b;
}

static inline double smaller(double a, double b)
{
    return a < b ? a : b;
}

#endif
