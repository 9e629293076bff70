"""Each header compiles alone, with the project's warnings: headers.py COMPILER BUILD_DIR."""
import os
import subprocess
import sys
import tempfile

import tree

compiler, build = sys.argv[1:3]
WARN = ("-Wall -Wextra -Wpedantic -Wconversion -Wshadow -Wstrict-prototypes -Wmissing-prototypes -Werror").split()
BASE = [compiler, "-std=c11", "-fsyntax-only", "-D_POSIX_C_SOURCE=200809L", "-D_FILE_OFFSET_BITS=64",
        "-I" + tree.ROOT, "-I" + build] + WARN


def compiles(text):
    with tempfile.TemporaryDirectory() as scratch:
        unit = os.path.join(scratch, "alone.c")
        with open(unit, "w", encoding="ascii") as f:
            f.write(text)
        return subprocess.run(BASE + [unit], capture_output=True, text=True, check=False)


assert compiles("int alone(int x);\n").returncode == 0, "the compiler itself does not work"
assert compiles("uint8_t alone(int x);\n").returncode != 0, "a header that needs another must fail"

faults = []
headers = tree.files(".h")
for header in headers:
    # Twice: the guard is part of what a header owes. The type keeps -Wpedantic from calling a unit empty.
    done = compiles(f'#include "{header}"\n#include "{header}"\ntypedef int not_empty;\n')
    if done.returncode:
        faults.append(f"{header} does not compile alone:\n{done.stderr}")
    if "/* " not in tree.read(header)[:400]:
        faults.append(f"{header} does not begin by saying what it is for")
tree.finish(f"headers ({os.path.basename(compiler)})", faults, len(headers))
