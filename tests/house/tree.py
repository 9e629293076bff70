"""What the house tests share: the tree's files, C without comments, and how a failure is told."""
import os
import re
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
TOP = {"README.md", "DEVELOPERS.md", "LICENSE", "CMakeLists.txt", "ingest", "analyze", "tests", "fixtures", "docs"}


def is_build(folder):
    """A build tree, whatever its name: it is not part of the house."""
    return os.path.exists(os.path.join(folder, "CMakeCache.txt"))


def files(*suffixes, under=""):
    """Paths relative to the root, sorted, of files that end in one of the suffixes."""
    found = []
    for folder, subs, names in os.walk(os.path.join(ROOT, under)):
        subs[:] = sorted(s for s in subs if not s.startswith(".") and s != "__pycache__"
                         and s != "build" and not is_build(os.path.join(folder, s)))
        for name in names:
            if name.endswith(suffixes):
                found.append(os.path.relpath(os.path.join(folder, name), ROOT))
    return sorted(found)


def read(path):
    with open(os.path.join(ROOT, path), encoding="utf-8") as f:
        return f.read()


TOKEN = re.compile(r'//[^\n]*|/\*.*?\*/|"(?:\\.|[^"\\\n])*"|\'(?:\\.|[^\'\\\n])*\'', re.S)


def without_comments(text):
    """C text with comments blanked, line numbers kept."""
    def blank(m):
        s = m.group(0)
        return re.sub(r"[^\n]", " ", s) if s.startswith("/") else s
    return TOKEN.sub(blank, text)


def strings(text):
    """(line, literal) of each string literal outside comments and outside #include."""
    for m in TOKEN.finditer(text):
        s = m.group(0)
        if s.startswith('"'):
            start = text.rfind("\n", 0, m.start()) + 1
            if not text[start:m.start()].lstrip().startswith("#include"):
                yield text.count("\n", 0, m.start()) + 1, s[1:-1]


def finish(what, faults, looked_at):
    """Exit 1 if anything is wrong, and also if nothing was looked at: a test that sees nothing proves nothing."""
    for fault in faults:
        print(fault)
    if not looked_at:
        print(f"{what}: nothing was looked at")
    print(f"{what}: {looked_at} looked at, {len(faults)} wrong")
    sys.exit(1 if faults or not looked_at else 0)
