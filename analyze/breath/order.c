#include "analyze/breath/order.h"

#include <math.h>

#define FEW 20

/* Hoare's selection: expected linear, deterministic. */
#define SELECT(type, v, n, k)                                                                                \
    do {                                                                                                     \
        int lo_ = 0, hi_ = (n) - 1;                                                                          \
        while (lo_ < hi_) {                                                                                  \
            type pivot_ = (v)[lo_ + (hi_ - lo_) / 2];                                                        \
            int i_ = lo_, j_ = hi_;                                                                          \
            while (i_ <= j_) {                                                                               \
                while ((v)[i_] < pivot_)                                                                     \
                    i_++;                                                                                    \
                while (pivot_ < (v)[j_])                                                                     \
                    j_--;                                                                                    \
                if (i_ <= j_) {                                                                              \
                    type swap_ = (v)[i_];                                                                    \
                    (v)[i_++] = (v)[j_];                                                                     \
                    (v)[j_--] = swap_;                                                                       \
                }                                                                                            \
            }                                                                                                \
            if ((k) <= j_)                                                                                   \
                hi_ = j_;                                                                                    \
            else if ((k) >= i_)                                                                              \
                lo_ = i_;                                                                                    \
            else                                                                                             \
                break;                                                                                       \
        }                                                                                                    \
    } while (0)

double order_kth(double *v, int n, int k)
{
    SELECT(double, v, n, k);
    return v[k];
}

/* Few values are sorted faster than selected. */
static void sort_few(double *v, int n)
{
    for (int i = 1; i < n; i++) {
        double x = v[i];
        int j = i;
        for (; j > 0 && v[j - 1] > x; j--)
            v[j] = v[j - 1];
        v[j] = x;
    }
}

double order_median(double *v, int n)
{
    if (n == 0)
        return (double)NAN;
    if (n <= FEW) {
        sort_few(v, n);
        return n % 2 ? v[n / 2] : 0.5 * (v[n / 2 - 1] + v[n / 2]);
    }
    double upper = order_kth(v, n, n / 2);
    if (n % 2)
        return upper;
    double lower = v[0];
    for (int i = 1; i < n / 2; i++) /* selection leaves the smaller ones in front */
        lower = v[i] > lower ? v[i] : lower;
    return 0.5 * (lower + upper);
}

float order_median_f(float *v, int n)
{
    SELECT(float, v, n, n / 2);
    return v[n / 2];
}
