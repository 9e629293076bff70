"""docs/demo-night.md against the night's truth, both ways: night.py TRUTH_FOLDER [--renew].

Times may differ by 0.6 s, values by 3 % (or 0.2) and counts by a tenth (5 at least): the night is made with the C library's own sines, whose last
bit depends on the processor. --renew rewrites times and values of the events, and the second table, from the truth."""
import collections
import csv
import os
import re
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PAGE = os.path.join(ROOT, "docs", "demo-night.md")
TOLD = re.compile(r"`(\w+)` ([\d.]+) to ([\d.]+)(?: \(([^)]*)\))?")
ELSEWHERE = ("setting_change", "peep_step")
STRETCHES = ("0:00:00 1:30:00 1:45:02 1:55:00 2:00:00 2:48:00 2:58:00 3:30:00 4:22:00 4:36:00 5:45:00 6:25:00 6:30:00 "
             "6:40:00 6:52:00 7:00:00 8:00:00").split()
SEEN = 5


def seconds(clock):
    h, m, s = clock.split(":")
    return int(h) * 3600 + int(m) * 60 + int(s)


def rows_of(text, columns):
    cells = [[c.strip() for c in line.strip("|").split("|")] for line in text.splitlines() if line.startswith("| ")]
    return [c for c in cells if len(c) == columns and re.match(r"\d", c[0])]


def read(name):
    with open(os.path.join(sys.argv[1], name), encoding="ascii") as f:
        return list(csv.DictReader(f))


def stretch(breaths, from_s, to_s):
    """Kinds and patterns, counted."""
    here = [b for b in breaths if from_s <= float(b["t0_s"]) < to_s]
    columns = list(breaths[0])
    patterns = columns[columns.index("why") + 1:]
    return (len(here), collections.Counter(b["kind"] for b in here),
            {p: sum(b[p] == "1" for b in here) for p in patterns})


def pairs(text):
    return [word.split() for word in (text or "").split(", ") if word]


def values(event):
    return dict(v.split("=") for v in event["values"].split(";") if v)


def renew(page, breaths, events):
    lines, used = [], collections.Counter()
    of_name = collections.defaultdict(list)
    for e in events:
        of_name[e["event"]].append(e)

    def place(m):
        """The page's k-th event of a name is the truth's k-th."""
        e = of_name[m.group(1)][used[m.group(1)]]
        used[m.group(1)] += 1
        true = values(e)
        told = ", ".join(f"{k} {float(true[k]):.4g}" for k, _ in pairs(m.group(4)))
        return f"`{m.group(1)}` {float(e['start_s']):.1f} to {float(e['end_s']):.1f}" + (f" ({told})" if told else "")

    page = TOLD.sub(place, page)
    for begin, end in zip(STRETCHES, STRETCHES[1:]):
        n, kinds, patterns = stretch(breaths, seconds(begin), seconds(end))
        lines.append("| %s | %s | %s | %s |" % (
            begin, end, ", ".join(f"{k} {c}" for k, c in kinds.most_common() if c >= 0.03 * n),
            ", ".join(f"{p} {c}" for p, c in patterns.items() if c >= SEEN)))
    rule = "\n|---|---|---|---|\n"
    head = page[:page.index(rule) + len(rule)]
    foot = page[page.index("\nThe script stands in "):]
    with open(PAGE, "w", encoding="utf-8") as f:
        f.write(head + "\n".join(lines) + "\n" + foot)


def judge_events(page, events):
    faults = []
    told = [(n, float(a), float(b)) for row in rows_of(page, 5) for n, a, b, _ in TOLD.findall(row[4])]
    true = [(e["event"], float(e["start_s"]), float(e["end_s"])) for e in events if e["event"] not in ELSEWHERE]
    for what, of, those in (("on the page, not in the truth", told, true), ("in the truth, not on the page", true, told)):
        for n, a, b in of:
            if not any(n == m and abs(a - c) <= 0.6 and abs(b - d) <= 0.6 for m, c, d in those):
                faults.append(f"{n} {a} to {b}: {what}")
    for n, a, _, said in (t for row in rows_of(page, 5) for t in TOLD.findall(row[4])):
        for e in events:
            for k, v in pairs(said) if e["event"] == n and abs(float(e["start_s"]) - float(a)) <= 0.6 else ():
                if abs(float(values(e)[k]) - float(v)) > max(0.2, 0.03 * abs(float(v))):
                    faults.append(f"{n} {a}: {k} {v}, in truth {values(e)[k]}")
    for row in rows_of(page, 5):
        times = [float(a) for _, a, _, _ in TOLD.findall(row[4])]
        if times and not 0 <= min(times) - seconds(row[0]) < 7:
            faults.append(f"{row[0]}: its event is at {min(times)}")
        clock = (seconds(row[0]) // 60 + 22 * 60) % 1440
        if row[1] != f"{clock // 60}:{clock % 60:02}":
            faults.append(f"{row[0]}: the clock says {row[1]}")
    return faults, len(told)


def judge_stretches(page, breaths):
    faults, seen = [], 0
    for begin, end, kinds, patterns in rows_of(page, 4):
        seen += 1
        _, true_kinds, true_patterns = stretch(breaths, seconds(begin), seconds(end))
        for told, true in ((kinds, true_kinds), (patterns, true_patterns)):
            said = {k: int(n) for k, n in (word.split() for word in told.split(", ") if word)}
            for name, n in said.items():
                if abs(true.get(name, 0) - n) > max(5, 0.1 * n):
                    faults.append(f"{begin}: {n} {name}, in truth {true.get(name, 0)}")
            for name, n in true.items():
                if told is patterns and n >= 2 * SEEN and name not in said:
                    faults.append(f"{begin}: {n} {name} in the truth, none on the page")
    return faults, seen


with open(PAGE, encoding="utf-8") as f:
    text = f.read()
all_breaths, all_events = read("breaths.csv"), read("events.csv")
if "--renew" in sys.argv:
    renew(text, all_breaths, all_events)
    sys.exit(0)
found, n_events = judge_events(text, all_events)
assert judge_events(text.replace("level_cmh2o 35", "level_cmh2o 39"), all_events)[0]
more, n_stretches = judge_stretches(text, all_breaths)
for fault in found + more:
    print(fault)
# The test itself, seen to bite.
assert judge_events(text, all_events[1:])[0] and judge_events(text.replace("`gap`", "`leak`"), all_events)[0]
assert judge_stretches(text, [b for b in all_breaths if b["kind"] != "supported"])[0]
print(f"demo night: {n_events} events, {n_stretches} stretches, {len(found + more)} wrong")
sys.exit(1 if found or more or n_events < 15 or n_stretches < 10 else 0)
