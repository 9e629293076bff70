"""The README's excerpt is what the program says of the demo night: readme.py TIDEMARK NIGHT [--renew].

Words must be the same; numbers may differ by 2 %, counts by 2, others by 0.2, for the night is simulated with the C library's own sines and
logarithms, whose last bit depends on the processor."""
import os
import pty
import re
import subprocess
import sys
import tempfile

import tree

BLOCK = re.compile(r"(<!-- excerpt -->\n```text\n)(.*?)(```\n)", re.S)
NUMBER = re.compile(r"\d+(?:\.\d+)?")


def at_a_terminal(tidemark, night):
    """What `tidemark breaths` ends with at a terminal."""
    with tempfile.TemporaryDirectory() as out:
        ours, theirs = pty.openpty()
        child = subprocess.Popen([tidemark, "breaths", night, "-o", os.path.join(out, "tables")], stdin=subprocess.DEVNULL,
                                 stdout=theirs, stderr=theirs)
        os.close(theirs)
        said = b""
        while True:
            try:
                more = os.read(ours, 65536)
            except OSError:  # the other end is closed
                break
            if not more:
                break
            said += more
        os.close(ours)
        if child.wait() not in (0, 1):
            sys.exit(f"exit {child.returncode}: {said.decode()}")
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", said.decode().replace("\r\n", "\n"))
    lines = text.split("\n")
    first = next(i for i, line in enumerate(lines) if "At a glance" in line)
    return "\n".join(line.split("\r")[-1].rstrip() for line in lines[first:]).strip("\n") + "\n"


def alike(a, b):
    if NUMBER.sub("#", a) != NUMBER.sub("#", b):
        return False
    return all(abs(float(x) - float(y)) <= max(0.2 if "." in y else 2, 0.02 * abs(float(y)))
               for x, y in zip(NUMBER.findall(a), NUMBER.findall(b)))


assert alike("VT 412 mL", "VT 415 mL") and not alike("VT 412 mL", "VT 450 mL") and not alike("VT 412 mL", "VTe 412 mL")

said = at_a_terminal(sys.argv[1], sys.argv[2])
readme = tree.read("README.md")
found = BLOCK.search(readme)
if not found:
    sys.exit("README.md has lost its excerpt")
if "--renew" in sys.argv:
    with open(os.path.join(tree.ROOT, "README.md"), "w", encoding="utf-8") as f:
        f.write(readme[:found.start(2)] + said + readme[found.end(2):])
    sys.exit(0)
faults = []
old, new = found.group(2).splitlines(), said.splitlines()
for k in range(max(len(old), len(new))):
    a, b = old[k] if k < len(old) else "", new[k] if k < len(new) else ""
    if not alike(a, b):
        faults.append(f"README.md: {a}\n   program: {b}")
if faults:
    faults.append("to renew: cmake --build build --target readme")
tree.finish("README excerpt", faults, len(new))
