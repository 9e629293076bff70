"""Shared by the end-to-end tests of patterns: a script simulated, its tables and its truth side by side."""
import csv
import os
import subprocess
import sys

TIDEMARK, SIMULATOR = sys.argv[1:3]
ALIKE_S = 0.3  # a row and a true breath are the same one when they start within so much
faults = []


def check(ok, what):
    if not ok:
        faults.append(what)
        print("FAULT:", what)


def run(*command):
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, timeout=250, env=dict(os.environ, LC_ALL="C"))


def table(path):
    with open(path, encoding="utf-8", newline="") as f:
        return list(csv.DictReader(f, strict=True))


def unjudged(cell):
    """"code:pattern,pattern;..." as {pattern: code}."""
    return {name: code for code, names in (part.split(":") for part in cell.split(";") if part) for name in names.split(",")}


def tables_of(recording):
    run(TIDEMARK, "breaths", recording, "-o", recording + ".tables", "--force")
    rows = table(os.path.join(recording + ".tables", "breaths.csv"))
    for r in rows:
        r["t"] = float(r["start_s"])
        r["flagged"], r["not"] = set(r["flags"].split(";")) - {""}, unjudged(r["unjudged"])
    return rows


def simulated(folder, name, script):
    """Simulates a script; (recording, rows, true breaths)."""
    stem = os.path.join(folder, name)
    with open(stem + ".script", "w", encoding="ascii") as f:
        f.write(script)
    run(SIMULATOR, "script", stem + ".script", "-o", stem, "--csv")
    truth = table(os.path.join(stem + ".truth", "breaths.csv"))
    for b in truth:
        b["t"] = float(b["t0_s"])
    return stem + ".csv", tables_of(stem + ".csv"), truth


def pairs(rows, truth):
    """Each scored true breath and its row (None: there is none)."""
    k = 0
    for b in truth:
        while k < len(rows) and rows[k]["t"] < b["t"] - ALIKE_S:
            k += 1
        if b["scored"] == "1":
            near = [r for r in rows[k:k + 3] if abs(r["t"] - b["t"]) <= ALIKE_S]
            yield b, min(near, key=lambda r: abs(r["t"] - b["t"])) if near else None


def finish():
    print(f"{len(faults)} faults")
    sys.exit(1 if faults else 0)
