#include "analyze/program/version.h"

const char *program_version(void)
{
    return TIDEMARK_VERSION;
}
