/* The shape of a subcommand: what it is called, takes, prints and returns.
 *
 * A command is one struct in one file (analyze/program/NAME.c) and one line in commands.def. Its option table
 * feeds the parser, --help, the man page and the docs: nothing is typed twice. `run` gets parsed arguments and
 * returns an exit status; it prints through say.h. */
#ifndef TIDEMARK_PROGRAM_COMMAND_H
#define TIDEMARK_PROGRAM_COMMAND_H

#include <stdbool.h>
#include <stddef.h>

/* Exit status of every command. When several apply the highest wins. */
enum exit_status {
    EXIT_DONE = 0,    /* done */
    EXIT_WRONG = 1,   /* done, but something in the input was wrong and was reported */
    EXIT_USAGE = 2,   /* the command line makes no sense */
    EXIT_NOTHING = 3, /* nothing usable in the input */
    EXIT_OUTPUT = 4   /* an output could not be written */
};

/* One option. A table ends with an entry whose name is NULL. -h/--help is there for every command. */
struct opt {
    const char *name; /* long form without the dashes: "flow-unit" */
    char letter;      /* short form, or 0 */
    const char *arg;  /* word for its value in help, e.g. "DIR"; NULL: a switch */
    const char *unit; /* unit of the value, or "" */
    const char *dflt; /* what holds if it is not given, or "" */
    const char *help; /* one or two sentences, capital first, full stop */
};

struct args;

struct command {
    const char *name;
    const char *summary;     /* one line, no full stop: "recordings to per-breath tables" */
    const char *operands;    /* as in the synopsis: "FILE..."; "" none */
    int operands_min;
    int operands_max;        /* -1: any number */
    const char *text;        /* paragraphs separated by an empty line, for --help and the man page */
    const struct opt *opts;  /* NULL legal */
    const char *const *examples; /* command lines, each followed by its explanation; NULL-ended; NULL legal */
    int (*run)(const struct args *a); /* returns an enum exit_status */
};

#define ARGS_OPTS_MAX 48

/* A parsed command line. Strings belong to argv. */
struct args {
    const struct command *cmd;
    const char *value[ARGS_OPTS_MAX]; /* by position in cmd->opts; NULL: not given; "" for a switch */
    int n_operands;
    char **operands; /* a stretch of argv, reordered */
    bool help;       /* -h or --help was given; nothing else is checked */
};

/* All commands, ended by NULL, in the order in which help names them. */
const struct command *const *commands_all(void);
const struct command *command_find(const char *name); /* NULL: none */

/* Parses argv[first..argc). Reorders argv so that operands stand together. On failure says what is wrong on
 * stderr and returns EXIT_USAGE, else EXIT_DONE. */
int args_parse(struct args *a, const struct command *cmd, int argc, char **argv, int first);

/* Value of an option of the command's table: NULL not given, "" for a switch that was given. Asking for a
 * name that is not in the table is a bug (assert). */
const char *args_value(const struct args *a, const char *name);
bool args_given(const struct args *a, const char *name);

/* Reads a finite number in low..high into *out, which keeps its value when the option was not given.
 * Otherwise says so on stderr and returns EXIT_USAGE. '.' is the decimal point whatever the locale. */
int args_number(const struct args *a, const char *name, double low, double high, double *out);
int args_integer(const struct args *a, const char *name, long low, long high, long *out);

#endif
