#include "analyze/program/command.h"

#include <string.h>

#define COMMAND(name) extern const struct command command_##name;
#include "analyze/program/commands.def"
#undef COMMAND

const struct command *const *commands_all(void)
{
    static const struct command *const all[] = {
#define COMMAND(name) &command_##name,
#include "analyze/program/commands.def"
#undef COMMAND
        NULL};
    return all;
}

const struct command *command_find(const char *name)
{
    for (const struct command *const *c = commands_all(); *c; c++)
        if (strcmp((*c)->name, name) == 0)
            return *c;
    return NULL;
}
