/* tidemark describe: what a column, pattern, event or reason code means. */
#include "analyze/breath/row.h"
#include "analyze/program/help.h"
#include "analyze/program/say.h"

#include <stdio.h>

static const struct opt opts[] = {{NULL, 0, NULL, NULL, NULL, NULL}};

static int run(const struct args *a)
{
    (void)a;
    for (int r = 1; r < WHY_N; r++)
        (void)printf("%-18s %s\n", reason_name((enum reason)r), reason_meaning((enum reason)r));
    return EXIT_DONE;
}

const struct command command_describe = {
    .name = "describe",
    .summary = "what a column, pattern, event or reason code means",
    .operands = "[NAME]",
    .operands_min = 0,
    .operands_max = 1,
    .text = "Prints what NAME means.",
    .opts = opts,
    .run = run,
};
