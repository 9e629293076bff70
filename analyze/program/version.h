/* Version of the program, from the one place that states it (the project line of CMakeLists.txt). */
#ifndef TIDEMARK_PROGRAM_VERSION_H
#define TIDEMARK_PROGRAM_VERSION_H

const char *program_version(void); /* "0.1.0" */

#endif
