/* tidemark COMMAND [options] FILE... : finds the command, parses, runs. */
#include "analyze/program/help.h"
#include "analyze/program/say.h"
#include "analyze/program/version.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>

static int run_command(const struct command *cmd, int argc, char **argv, int first)
{
    struct args a;
    const int rc = args_parse(&a, cmd, argc, argv, first);
    if (rc != EXIT_DONE)
        return rc;
    if (a.help) {
        help_command(stdout, cmd);
        return say_flushed(cmd, EXIT_DONE);
    }
    return say_flushed(cmd, cmd->run(&a));
}

int main(int argc, char **argv)
{
    /* A closed pipe is an output that could not be written: exit 4 with a message, not a silent death. */
    (void)signal(SIGPIPE, SIG_IGN);
    (void)signal(SIGXFSZ, SIG_IGN); /* the same for a limit on the size of files */
    if (argc < 2)
        return say_usage(NULL, "a command is missing");
    const char *word = argv[1];
    if (strcmp(word, "--version") == 0) {
        (void)printf("tidemark %s\n", program_version());
        return say_flushed(NULL, EXIT_DONE);
    }
    if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0 || strcmp(word, "help") == 0) {
        const struct command *cmd = argc > 2 ? command_find(argv[2]) : NULL;
        if (argc > 2 && !cmd)
            return say_usage(NULL, "there is no command '%s'", argv[2]);
        if (cmd)
            help_command(stdout, cmd);
        else
            help_program(stdout);
        return say_flushed(cmd, EXIT_DONE);
    }
    const struct command *cmd = command_find(word);
    if (!cmd)
        return say_usage(NULL, "there is no command '%s'", word);
    return run_command(cmd, argc, argv, 2);
}
