"""Speed and memory, measured side by side in one run: bench.py TIDEMARK SIMULATOR MEASURE SCRATCH [--write FILE].

Speed: CPU (user and system, children included) of `tidemark breaths FILE` over that of `gzip -dc FILE >/dev/null` on the
same file, median of 7 interleaved runs. The file is the yardstick, 8 h at 100 Hz as lines `12345.67,12.34,-0.523` in 1 s
gzip members; in a row of its own the same night as our log, over the same yardstick. Ratios of interleaved runs are what a
busy or a slow machine can't bend far. Memory: peak resident size over 1, 8 and 80 h. Exit 1 if a bar is missed."""
import os
import re
import shutil
import statistics
import subprocess
import sys

RUNS = 7
RATIO_MAX = 1.0        # what is asked of it now; the end goal is 0.70 with every column and pattern
RSS_MAX_KIB = 12 * 1024
FLAT_KIB = 512         # what 80 h may take beyond 1 h

tidemark, simulator, measure, scratch = sys.argv[1:5]
write_to = sys.argv[6] if len(sys.argv) > 6 else None


def cost(out, *argv):
    done = subprocess.run([measure, out, *argv], capture_output=True, text=True, check=False)
    found = re.search(r"cpu_s=([\d.]+) wall_s=([\d.]+) rss_kib=(\d+) status=(\d+)", done.stderr)
    if not found or found.group(4) != "0":
        sys.exit(f"{argv}: {done.stderr}")
    return float(found.group(1)), float(found.group(2)), int(found.group(3))


def breaths(path):
    out = os.path.join(scratch, "tables")
    shutil.rmtree(out, ignore_errors=True)
    return cost("/dev/null", tidemark, "breaths", path, "-o", out)


def made(hours):
    """The simulator's yardstick night as text, and its twin as our log."""
    stem = os.path.join(scratch, f"{hours}h")
    subprocess.run([simulator, "yardstick", "--hours", str(hours), "-o", stem + ".csv.gz", "--log"], check=True)
    return stem + ".csv.gz", stem + ".log.gz"


def main():
    os.makedirs(scratch, exist_ok=True)
    yardstick, log = made(8)
    gzip, text, ours = [], [], []
    cost("/dev/null", "gzip", "-dc", yardstick)
    for _ in range(RUNS):
        gzip.append(cost("/dev/null", "gzip", "-dc", yardstick)[0])
        text.append(breaths(yardstick)[0])
        ours.append(breaths(log)[0])
    ratio_text = statistics.median(t / g for t, g in zip(text, gzip))
    ratio_log = statistics.median(t / g for t, g in zip(ours, gzip))
    memory = {}
    for hours in (8, 1, 80):
        for kind, path in zip(("csv", "log"), (yardstick, log) if hours == 8 else made(hours)):
            memory[kind, hours] = breaths(path)[2]
            os.remove(path)
    rows = [
        "| what | measured | bar |", "|---|---|---|",
        f"| CPU of `tidemark breaths` on the yardstick, over `gzip -dc` of it | {ratio_text:.2f} | {RATIO_MAX} |",
        f"| the same night as our log, over the same | {ratio_log:.2f} | - |",
        f"| seconds of CPU here, gzip / text / log | {statistics.median(gzip):.2f} / {statistics.median(text):.2f} / "
        f"{statistics.median(ours):.2f} | - |",
    ]
    for kind, name in (("csv", "text"), ("log", "log")):
        sizes = " / ".join(f"{memory[kind, h] / 1024:.1f}" for h in (1, 8, 80))
        rows.append(f"| peak memory over 1 / 8 / 80 h of {name}, MiB | {sizes} | {RSS_MAX_KIB // 1024}, flat |")
    table = "\n".join(rows) + "\n"
    print(table)
    if write_to:
        with open(write_to, "w", encoding="ascii") as f:
            f.write("# Speed and memory\n\nWritten by `tests/bench/bench.py --write`; ratios of runs interleaved on one "
                    f"machine, median of {RUNS}.\n\n" + table)
    bad = []
    if ratio_text > RATIO_MAX:
        bad.append(f"CPU ratio {ratio_text:.2f} over {RATIO_MAX}")
    for kind in ("csv", "log"):
        if max(memory[kind, h] for h in (1, 8, 80)) > RSS_MAX_KIB:
            bad.append(f"{kind}: memory over {RSS_MAX_KIB} KiB")
        if memory[kind, 80] - memory[kind, 1] > FLAT_KIB:
            bad.append(f"{kind}: memory grows by {memory[kind, 80] - memory[kind, 1]} KiB from 1 to 80 h")
    shutil.rmtree(os.path.join(scratch, "tables"), ignore_errors=True)
    for fault in bad:
        print("MISSED", fault)
    sys.exit(1 if bad else 0)


main()
