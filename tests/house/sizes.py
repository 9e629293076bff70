"""Files and functions stay readable, the top level stays as it is, and every source is built."""
import os
import re

import tree

FILE_LINES = 400      # 300 is the aim
FUNCTION_LINES = 70

faults = []


def long_functions(path, text):
    """Functions by the project's layout: the body's braces stand in the first column."""
    start, found = 0, []
    for number, line in enumerate(text.splitlines(), 1):
        if line.startswith("{"):
            start = number
        elif line.startswith("}") and start:
            if number - start + 1 > FUNCTION_LINES:
                found.append(f"{path}:{start}: a function of {number - start + 1} lines (limit {FUNCTION_LINES})")
            start = 0
    return found


assert long_functions("x.c", "int f(void)\n{\n" + "    ;\n" * 80 + "}\n")
assert not long_functions("x.c", "int f(void)\n{\n" + "    ;\n" * 60 + "}\n")

code = tree.files(".c", ".h")
for path in code:
    text = tree.read(path)
    lines = text.count("\n")
    if lines > FILE_LINES:
        faults.append(f"{path}: {lines} lines (limit {FILE_LINES}): is it one idea?")
    if path.endswith(".c"):
        faults += long_functions(path, text)
    for number, line in enumerate(text.splitlines(), 1):
        if re.search(r"\b(TODO|FIXME|XXX)\b", line):
            faults.append(f"{path}:{number}: unfinished: {line.strip()}")
        if "\t" in line or line != line.rstrip():
            faults.append(f"{path}:{number}: a tab, or blanks at the line's end")

for path in tree.files(".c"):
    folder, name, listed = os.path.dirname(path), os.path.basename(path), False
    while not listed:
        lists = os.path.join(tree.ROOT, folder, "CMakeLists.txt")
        listed = os.path.exists(lists) and re.search(r"(?<![\w-])" + re.escape(name), tree.read(lists)) is not None
        if not folder:
            break
        folder = os.path.dirname(folder)
    if not listed:
        faults.append(f"{path}: no CMakeLists.txt lists it")

for name in os.listdir(tree.ROOT):
    if name.startswith(".") or name in tree.TOP:
        continue
    if name == "build" or name.startswith("build-") or tree.is_build(os.path.join(tree.ROOT, name)):
        continue
    faults.append(f"{name}: the top level is fixed")
for name in tree.TOP:
    if not os.path.exists(os.path.join(tree.ROOT, name)):
        faults.append(f"{name}: missing from the top level")
tree.finish("sizes", faults, len(code))
