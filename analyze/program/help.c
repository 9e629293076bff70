#include "analyze/program/help.h"
#include "analyze/tables/wording.h"

#include <string.h>

/* Words of `text`, filled to `width` columns after `indent`; an empty line stays one. The first line
 * continues where the caller stands (at column `at`). */
static void fill(FILE *out, const char *text, int at, int indent, int width)
{
    int col = at;
    while (*text) {
        const size_t gap = strspn(text, " \n");
        int breaks = 0;
        for (size_t i = 0; i < gap; i++)
            breaks += text[i] == '\n';
        text += gap;
        const size_t len = strcspn(text, " \n");
        if (len == 0)
            break;
        if (breaks > 1 || (col > indent && col + 1 + (int)len > width)) {
            (void)fputs(breaks > 1 ? "\n\n" : "\n", out);
            (void)fprintf(out, "%*s", indent, "");
            col = indent;
        } else if (col > indent) {
            (void)fputc(' ', out);
            col++;
        }
        (void)fwrite(text, 1, len, out);
        col += (int)len;
        text += len;
    }
    (void)fputc('\n', out);
}

static void help_opt(FILE *out, const struct opt *o)
{
    char head[80];
    int n = o->letter ? snprintf(head, sizeof head, "  -%c, --%s", o->letter, o->name)
                      : snprintf(head, sizeof head, "      --%s", o->name);
    if (o->arg && n > 0 && n < (int)sizeof head)
        n += snprintf(head + n, sizeof head - (size_t)n, " %s", o->arg);
    const int indent = 28;
    (void)fputs(head, out);
    if (n >= indent - 1) {
        (void)fputc('\n', out);
        n = 0;
    }
    (void)fprintf(out, "%*s", indent - n, "");
    char text[600];
    (void)snprintf(text, sizeof text, "%s%s%s%s%s%s%s", o->help, o->unit[0] ? " Unit: " : "", o->unit,
                   o->unit[0] ? "." : "", o->dflt[0] ? " Default: " : "", o->dflt, o->dflt[0] ? "." : "");
    fill(out, text, indent, indent, 96);
}

static void help_status(FILE *out)
{
    (void)fputs("\nExit status: 0 done; 1 done, but something in the input was wrong and was reported;\n"
                "2 usage; 3 nothing usable; 4 an output could not be written.\n",
                out);
}

void help_program(FILE *out)
{
    (void)fputs("Usage: tidemark COMMAND [options] FILE...\n"
                "       tidemark COMMAND --help\n"
                "       tidemark --version\n"
                "\n"
                "Records and measures the breaths of a ventilated patient, sample by sample, for looking back.\n"
                "\nCommands:\n",
                out);
    for (const struct command *const *c = commands_all(); *c; c++)
        (void)fprintf(out, "  %-10s %s\n", (*c)->name, (*c)->summary);
    help_status(out);
    (void)fprintf(out, "\n%s\n", wording_short());
}

void help_command(FILE *out, const struct command *cmd)
{
    (void)fprintf(out, "Usage: tidemark %s [options]%s%s\n\n", cmd->name, cmd->operands[0] ? " " : "", cmd->operands);
    fill(out, cmd->text, 0, 0, 96);
    (void)fputs("\nOptions:\n", out);
    for (const struct opt *o = cmd->opts; o && o->name; o++)
        help_opt(out, o);
    static const struct opt help = {"help", 'h', NULL, "", "", "Print this help."};
    help_opt(out, &help);
    if (cmd->examples) {
        (void)fputs("\nExamples:\n", out);
        for (const char *const *e = cmd->examples; e[0] && e[1]; e += 2) {
            (void)fprintf(out, "  %s\n      ", e[0]);
            fill(out, e[1], 6, 6, 96);
        }
    }
    help_status(out);
    (void)fprintf(out, "\n%s\n", wording_short());
}
