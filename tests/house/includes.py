"""Samples flow one way, and so do includes (DEVELOPERS.md, "The house")."""
import os
import re

import tree

INCLUDE = re.compile(r'^\s*#\s*include\s+"([^"]+)"', re.M)


def allowed(path, target):
    if path.startswith("ingest/"):
        return not target.startswith(("analyze/", "fixtures/", "tests/"))
    if path.startswith("analyze/program/"):
        return not target.startswith(("fixtures/", "tests/"))
    if path.startswith("analyze/"):
        if target.startswith("ingest/"):
            return target == "ingest/sample.h"
        return not target.startswith(("analyze/program/", "fixtures/", "tests/"))
    if path.startswith("fixtures/"):
        return not target.startswith("tests/")
    return True


def judge(path, text):
    faults = []
    for m in INCLUDE.finditer(tree.without_comments(text)):
        target = m.group(1)
        where = f"{path}:{text.count(chr(10), 0, m.start(1)) + 1}"
        if "/" not in target or ".." in target:
            faults.append(f"{where}: {target}: write the include from the repository's root")
        elif not allowed(path, target):
            faults.append(f"{where}: {target} may not be included from here")
        elif (target.split("/")[0] in tree.TOP and not os.path.exists(os.path.join(tree.ROOT, target))
              and not target.endswith(("_gen.h", "_generated.h"))):
            faults.append(f"{where}: {target} does not exist")
    return faults


# The rule itself, seen to bite.
assert judge("ingest/x.c", '#include "analyze/breath/row.h"\n')
assert judge("analyze/breath/x.c", '#include "ingest/source.h"\n')
assert judge("analyze/breath/x.c", '#include "row.h"\n')
assert not judge("analyze/breath/x.c", '#include "ingest/sample.h"\n/* #include "ingest/source.h" */\n')
assert not judge("analyze/program/x.c", '#include "ingest/source.h"\n')

sources = tree.files(".c", ".h", ".def")
found = []
for source in sources:
    found += judge(source, tree.read(source))
tree.finish("includes", found, len(sources))
