/* Numbers as text with fixed decimals, fast and exact.
 *
 * The result is what printf("%.*f") gives in the C locale (the exact value of the double, rounded half to
 * even), except that a value that rounds to zero has no minus sign. It does not depend on locale, compiler or
 * library. */
#ifndef TIDEMARK_TABLES_NUMBER_H
#define TIDEMARK_TABLES_NUMBER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define NUMBER_DECIMALS_MAX 9
#define NUMBER_MAX          24 /* bytes at most, no NUL */

/* v * 10^decimals as an integer, rounded half to even. False (and *out 0) if v is not finite or the result does not
 * fit in 18 digits. decimals 0..9. */
bool number_scaled(double v, int decimals, int64_t *out);

/* Writes scaled / 10^decimals; returns the number of bytes, at most NUMBER_MAX. */
size_t number_put_scaled(char *out, int64_t scaled, int decimals);

/* Writes v; 0 bytes (an empty cell) if number_scaled() says no. */
size_t number_put(char *out, double v, int decimals);

/* Nanoseconds as seconds with 3 decimals. */
size_t number_put_ns(char *out, int64_t ns);

#endif
