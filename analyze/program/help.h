/* --help and the man pages, from the command tables. */
#ifndef TIDEMARK_PROGRAM_HELP_H
#define TIDEMARK_PROGRAM_HELP_H

#include "analyze/program/command.h"

#include <stdio.h>

void help_program(FILE *out);                              /* tidemark --help */
void help_command(FILE *out, const struct command *cmd);   /* tidemark CMD --help */
void man_program(FILE *out);                               /* tidemark.1, man macros */
void man_command(FILE *out, const struct command *cmd);    /* tidemark-CMD.1 */
void docs_options(FILE *out);                              /* docs/commands.md */

#endif
