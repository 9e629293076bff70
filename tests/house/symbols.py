"""The two libraries neither print nor exit, and keep no state of their own: symbols.py NM ARCHIVE..."""
import re
import subprocess
import sys

import tree

nm, archives = sys.argv[1], sys.argv[2:]

# What would print or end the program, also under the names that fortified or built-in forms take.
PRINTS = re.compile(r"^_?_?(v?d?f?w?printf|puts|fputs|putchar|putc|fputc|perror|psignal|fwrite|"
                    r"v?errx?|v?warnx?|error|exit|_exit|_Exit|quick_exit|abort|stdout|stderr|stdin)"
                    r"(_unlocked|_chk)?$")
for name in ("printf", "__printf_chk", "__vfprintf_chk", "puts", "fputc", "exit", "_exit", "abort", "stderr", "vprintf",
             "dprintf", "__dprintf_chk", "fputs_unlocked"):
    assert PRINTS.match(name), name
for name in ("snprintf", "__snprintf_chk", "vsnprintf", "__vsnprintf_chk", "__stack_chk_fail", "source_close"):
    assert not PRINTS.match(name), name

# Data that can be written: .data, .bss, common, thread-local. Relocated constants (.data.rel.ro) are read-only
# once the program runs.
WRITABLE = re.compile(r"^(\.data(?!\.rel\.ro)|\.bss|\.tdata|\.tbss|\*COM\*|COMMON)")
assert WRITABLE.match(".data") and WRITABLE.match(".data.rel.local") and WRITABLE.match(".bss.seen")
assert not WRITABLE.match(".data.rel.ro.local") and not WRITABLE.match(".rodata.str")

faults, seen = [], 0
for archive in archives:
    member = ""
    out = subprocess.run([nm, "--format=sysv", archive], capture_output=True, text=True, check=True).stdout
    for line in out.splitlines():
        if line.startswith("Symbols from"):
            member = line.split("[")[-1].rstrip("]:")
        part = [p.strip() for p in line.split("|")]
        if len(part) != 7:
            continue
        name, kind, section = part[0], part[2], part[6]
        seen += 1
        if kind == "U" and PRINTS.match(name.split("@")[0]):
            faults.append(f"{member}: {name}: only analyze/program/ prints or exits")
        if kind.upper() in ("B", "D", "C", "G", "S") and WRITABLE.match(section or "COMMON"):
            faults.append(f"{member}: {name} in {section}: no mutable globals")
tree.finish("symbols", faults, seen)
