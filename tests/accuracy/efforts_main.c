/* Efforts of a recording as CSV on standard output: for a look at what is scored. */
#include <stdio.h>
#include <stdlib.h>

#include "tests/accuracy/efforts_of.h"

int main(int argc, char **argv)
{
    if (argc != 2 || efforts_write(argv[1], stdout)) {
        fputs("usage: tidemark-efforts FILE\n", stderr);
        return EXIT_FAILURE;
    }
    return EXIT_SUCCESS;
}
