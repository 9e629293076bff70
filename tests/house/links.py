"""Links between pages lead somewhere, and pages name only commands and CMake targets that exist."""
import os
import re

import tree

LINK = re.compile(r"\]\(([^)#\s]+)(?:#[^)]*)?\)")
COMMAND = re.compile(r"`(?:build/)?tidemark ([a-z]+)\b")
TARGET = re.compile(r"--build build(?:/ci/\w+)? --target ([a-z_]+)")

commands = set(re.findall(r"^COMMAND\((\w+)\)", tree.read("analyze/program/commands.def"), re.M))
lists = "\n".join(tree.read(p) for p in tree.files("CMakeLists.txt"))
targets = set(re.findall(r"add_(?:custom_target|executable|library)\((\S+)", lists))

faults, seen = [], 0
for page in tree.files(".md"):
    text = tree.read(page)
    for target in LINK.findall(text):
        seen += 1
        if "://" in target:
            faults.append(f"{page}: {target}: a page needs no network")
        elif not os.path.exists(os.path.join(tree.ROOT, os.path.dirname(page), target)):
            faults.append(f"{page}: {target} is not there")
    for name in COMMAND.findall(text):
        seen += 1
        if name not in commands | {"help", "version"}:
            faults.append(f"{page}: there is no command {name}")
    for name in TARGET.findall(text):
        seen += 1
        if name not in targets:
            faults.append(f"{page}: there is no target {name}")
tree.finish("links", faults, seen)
