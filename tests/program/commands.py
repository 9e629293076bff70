"""The command line: exit statuses, help and man pages against the parser, outputs that can't be written, docs that are fresh."""
import gzip
import json
import os
import re
import resource
import shutil
import subprocess
import sys

import kit

source = sys.argv[2]
SHORT = "Look back only. No alarm, no medical device, no basis for treatment decisions."
COMMANDS = re.findall(r"^  ([a-z]+) ", kit.run("--help").out.split("Commands:")[1].split("Exit status")[0], re.M)
kit.check({"record", "ports", "breaths", "convert", "check", "describe"} <= set(COMMANDS), f"commands {COMMANDS}")

# ---- help, man page, docs and parser name the same options ----
docs = kit.status(0, "describe", "--docs", "commands").out
for c in COMMANDS:
    text = kit.status(0, c, "--help").out
    kit.same(text, kit.status(0, "help", c).out, f"two ways to help {c}")
    kit.check(SHORT in text, f"caution in the help of {c}")
    in_help = set(re.findall(r"^ +(?:-\w, )?--([a-z0-9-]+)", text, re.M))
    man = kit.status(0, "describe", "--docs", "man:" + c).out
    kit.check(SHORT.replace("-", "\\-") in man, f"caution in the man page of {c}")
    in_man = set(x.replace("\\-", "-") for x in re.findall(r"\\fB\\-\\-([a-z0-9\\-]+)\\fR", man))
    section = docs.split(f"\n## tidemark {c}")[1].split("\n## ")[0]
    in_docs = set(re.findall(r"`--([a-z0-9-]+)", section)) | {"help"}
    kit.same(in_man, in_help, f"options of {c} in man page and help")
    kit.same(in_docs, in_help, f"options of {c} in docs and help")
    for o in in_help - {"help"}:
        # with its value missing, or refused for another reason, but never unknown
        err = kit.run(c, "--" + o).err
        kit.check("there is no option" not in err, f"{c} --{o} is known to the parser")
    kit.status(2, c, "--no-such-option", "x")
    p = kit.status(2, c, "--no-such-option=1", "x")
    kit.check("tidemark " + c + " --help" in p.err and p.out == "", f"usage error of {c}")
    for line in text.splitlines():
        kit.check(len(line) <= 100 or line.startswith("  tidemark "), f"help of {c} fits: {line}")
    if shutil.which("groff"):
        g = subprocess.run(["groff", "-man", "-ww", "-z", "-Tutf8"], input=man.encode(), stderr=subprocess.PIPE)
        kit.same(g.stderr.decode(), "", f"groff reads the man page of {c}")

# ---- pages of docs/ are what the program makes ----
for page in ("metrics", "patterns", "commands"):
    made = kit.status(0, "describe", "--docs", page).out
    with open(os.path.join(source, "docs", page + ".md"), encoding="utf-8") as f:
        kit.check(f.read() == made, f"docs/{page}.md is fresh (cmake --build build --target docs renews it)")

# ---- describe ----
kit.check("Expired volume" in kit.status(0, "describe", "vte_ml").out, "describe a column")
two = json.loads(kit.status(0, "describe", "gap", "--json").out)
kit.same(sorted(x["is"] for x in two["found"]), ["event", "reason code"], "describe a name that stands twice")
kit.check("pattern" in kit.status(0, "describe", "double_trigger").out, "describe a pattern")
told = kit.status(0, "describe", "flow_limitation").out
kit.check("tau_s = 0.8 s (0.2 to 3)" in told and "Look-alikes" in told, "describe a pattern's parameters")
kit.check("log" in kit.status(0, "describe", "%rate").out, "describe a line of the log")
kit.status(2, "describe", "no_such_name")
drawn = kit.status(0, "describe", "flow_limitation", "--svg").out
with open(os.path.join(source, "docs", "pictures", "flow_limitation.svg"), encoding="utf-8") as f:
    kit.check(f.read() == drawn, "describe --svg prints the drawing of docs/pictures")
kit.status(2, "describe", "vte_ml", "--svg")
kit.status(2, "describe", "--svg")
peep = kit.status(0, "describe", "autopeep_cmh2o").out.splitlines()
told = [line.split()[0] for line in peep[2:8]]
kit.same(told, ["What", "How", "Empty", "Blind", "Off", "From"], "auto-PEEP in six lines")
kit.check(max(map(len, peep)) <= 100, "they fit a terminal")
everything = kit.status(0, "describe").out
for name in json.loads(kit.status(0, "describe", "--json").out)["codes"]:
    kit.check(f"  {name} " in everything, f"{name} is listed")
kit.check(re.fullmatch(r"tidemark \d+\.\d+\.\d+\n", kit.status(0, "--version").out) is not None, "--version")
kit.status(2)
kit.status(2, "nothing")

with kit.folder() as d:
    good, hole = os.path.join(d, "good.csv"), os.path.join(d, "hole.csv")
    kit.write_csv(good, kit.breathing(3))
    out = os.path.join(d, "out")

    # ---- exit statuses ----
    kit.status(0, "breaths", good, "-o", out)
    kit.same(kit.status(2, "breaths", good).out, "", "-o missing")
    # parameters: the file first, then the option; the summary says what was used
    settings = os.path.join(d, "settings.txt")
    with open(settings, "w", encoding="utf-8") as f:
        f.write("# how slow a tail\nflow_limitation.tau_s = 1.1 # seconds\nincomplete_exhalation.flow_l_s=0.06\n".replace(" = ", "="))
    kit.status(0, "breaths", good, "-o", out, "--force", "--settings", settings, "--set", "flow_limitation.tau_s=1.2,flow_limitation.breaths=9")
    used = kit.load(os.path.join(out, "summary.json"))["patterns"]
    kit.same([used["flow_limitation"]["parameters"][k] for k in ("tau_s", "breaths", "peak_ratio")], [1.2, 9, 1.02], "parameters used")
    kit.same(used["incomplete_exhalation"]["parameters"]["flow_l_s"], 0.06, "a parameter of the file")
    kit.status(0, "breaths", good, "-o", out, "--force")
    for args in (["--height-cm", "x"], ["--height-cm", "5"], ["--sex", "q"], ["--patient", "cat"], ["--breath", "0"], ["--start", "now"],
                 ["--header", "--no-header"], ["--force", "--force"], ["--set", "flow_limitation.tau_s=9"], ["--set", "flow_limitation.no=1"],
                 ["--set", "tau_s"], ["--set", "flow_limitation.tau_s=x"], ["--settings", os.path.join(d, "none")], ["--gas", "BTPS"], ["--from", "noon"], ["--height-cm"]):
        kit.status(2, "breaths", good, "-o", os.path.join(d, "x"), *args)
    for name, data in (("empty.csv", b""), ("head.csv", b"t_s,paw_cmh2o,flow_l_s\n"), ("junk.bin", bytes(range(256)) * 40)):
        path = os.path.join(d, name)
        open(path, "wb").write(data)
        p = kit.status(3, "breaths", path, "-o", os.path.join(d, "none"))
        kit.check(name in p.err, f"the error names {name}")
        kit.check(not os.path.exists(os.path.join(d, "none")), f"no folder is left for {name}")
    kit.status(3, "breaths", os.path.join(d, "absent.csv"), "-o", os.path.join(d, "none"))
    bad = os.path.join(d, "bad.csv")
    lines = open(good).read().splitlines()
    lines[5000] = "abc,def,ghi"
    open(bad, "w").write("\n".join(lines) + "\n")
    p = kit.status(1, "breaths", bad, "-o", os.path.join(d, "bad"))
    kit.check("bad.csv:5001" in p.err, "the notice names file and line: " + p.err)
    kit.check(kit.load(os.path.join(d, "bad", "summary.json"))["notices"] != [], "notices stand in the summary")
    lines[100:1100] = ["x,y,z"] * 1000
    open(bad, "w").write("\n".join(lines) + "\n")
    p = kit.run("breaths", bad, "-o", os.path.join(d, "bad"), "--force")
    kit.check(len(p.err.splitlines()) < 12 and " more of " in p.err, f"repeated notices are counted: {p.err[:400]}")

    # ---- outputs that can't be written: status 4, no half table under a real name ----
    before = {n: open(os.path.join(out, n), "rb").read() for n in os.listdir(out)}
    p = kit.status(4, "breaths", good, "-o", out)
    kit.check("--force" in p.err, "the mend of a folder that holds tables")
    p = kit.status(4, "breaths", good, "-o", good)
    kit.check("good.csv" in p.err, "a file in place of a folder")
    kit.status(4, "breaths", good, "-o", os.path.join(d, "no", "such", "parent"))
    limit = lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000))
    p = kit.status(4, "breaths", good, "-o", out, "--force", preexec_fn=limit)
    kit.check("can't be written" in p.err, "a limit on sizes is told: " + p.err)
    kit.same({n: open(os.path.join(out, n), "rb").read() for n in os.listdir(out)}, before, "the old tables stand as they were")
    kit.status(4, "breaths", good, "-o", os.path.join(d, "new"), preexec_fn=limit)
    kit.check(not os.path.exists(os.path.join(d, "new")), "nothing is left of a failed run")
    kit.status(0, "breaths", good, "-o", out, "--force")
    with open("/dev/full", "wb") as full:
        for args in (["breaths", good, "--json"], ["describe"], ["--help"], ["breaths", "--help"], ["check", good], ["--version"]):
            kit.status(4, *args, stdout=full)
    r, w = os.pipe()
    os.close(r)
    kit.status(4, "describe", stdout=w)
    os.close(w)
    for args in (["convert", good, os.path.join(d, "c.log.gz")],):
        kit.status(4, *args, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000)))
        kit.same([n for n in os.listdir(d) if n.startswith("c.log")], [], "nothing is left of a failed conversion")

    # ---- several files ----
    kit.write_csv(hole, kit.breathing(2, holes=((60, 61),)))
    many = os.path.join(d, "many")
    kit.run("breaths", good, hole, "-o", many)
    kit.same(sorted(os.listdir(many)), ["good", "hole"], "a folder for each")
    os.mkdir(os.path.join(d, "sub"))
    shutil.copy(good, os.path.join(d, "sub", "good.csv"))
    p = kit.run("breaths", good, os.path.join(d, "sub", "good.csv"), "-o", os.path.join(d, "twice"))
    kit.same(p.returncode, 2, "two files that would share a folder")

    # ---- one breath in words, the glance, JSON ----
    p = kit.status(0, "breaths", good, "--breath", "7", "--height-cm", "170", "--sex", "m")
    row = kit.table(os.path.join(out, "breaths.csv"))[6]
    kit.check(p.out.startswith("Breath 7\n") and f"{row['vti_ml']} mL" in p.out and "no_mark" in p.out, "one breath in words: " + p.out)
    kit.status(3, "breaths", good, "--breath", "100000")
    p = kit.status(0, "breaths", good, "--glance")
    kit.check(9 <= len(p.out.splitlines()) <= 20 and SHORT in p.out and " of " in p.out, "the glance: " + p.out)
    kit.same(json.loads(kit.status(0, "breaths", good, "--json").out)["breaths"]["n"], len(kit.table(os.path.join(out, "breaths.csv"))),
             "summary on standard output")

    # ---- gas: 22 C, saturated, 1013.25 hPa to BTPS is 1.091 (printed table value) ----
    kit.status(0, "breaths", good, "-o", os.path.join(d, "btps"), "--btps", "--gas", "ATPS", "--temp-c", "22")
    for a, b in zip(kit.table(os.path.join(out, "breaths.csv")), kit.table(os.path.join(d, "btps", "breaths.csv"))):
        if a["vti_ml"] and b["vti_ml"]:
            kit.check(abs(float(b["vti_ml"]) / float(a["vti_ml"]) - 1.091) < 0.003, "BTPS")

    # ---- marks ----
    marks = os.path.join(d, "marks.csv")
    open(marks, "w").write('at_s,kind,text\n30.5,suction,"deep, twice"\n10,note,=x\n')
    kit.status(0, "breaths", good, "-o", os.path.join(d, "marked"), "--marks", marks)
    kit.same(kit.load(os.path.join(d, "marked", "summary.json"))["samples"]["marks"], 2, "marks are counted")
    open(marks, "w").write("when,what\n1,2\n")
    p = kit.status(2, "breaths", good, "-o", os.path.join(d, "m2"), "--marks", marks)
    kit.check("marks.csv:1" in p.err, "a marks file without a header")

    # ---- convert and back: the same tables ----
    log, text, plain = (os.path.join(d, n) for n in ("c.log.gz", "back.csv", "c.log"))
    kit.status(0, "convert", good, log)
    kit.status(4, "convert", good, log)
    kit.status(0, "convert", log, text)
    kit.status(0, "convert", text, plain)
    kit.check(subprocess.run(["gzip", "-t", log]).returncode == 0, "gzip reads our log")
    for path in (log, text, plain):
        other = path + ".tables"
        kit.status(0, "breaths", path, "-o", other)
        for n in ("breaths.csv", "events.csv", "hours.csv"):
            kit.check(open(os.path.join(other, n), "rb").read() == open(os.path.join(out, n), "rb").read(), f"{n} of {path}")
    dated = os.path.join(d, "dated.log")
    kit.status(0, "convert", good, dated, "--start", "2026-03-04T22:30:00+01:00")
    for args, want in ((["--shift-dates", "-400"], "2025-01-28T22:30:00+01:00"), (["--drop-dates"], None)):
        moved = os.path.join(d, "moved.log")
        kit.status(0, "convert", dated, moved, "--force", *args)
        found = re.search(r"^%start (\S+)", open(moved).read(), re.M)
        kit.same(found.group(1) if found else None, want, "start after " + args[0])

    # ---- check ----
    kit.status(0, "check", good)
    torn = os.path.join(d, "torn.log.gz")
    open(torn, "wb").write(open(log, "rb").read()[:-700])
    p = kit.status(1, "check", torn)
    kit.check("not closed" in p.out, "a torn log: " + p.out)
    whole = os.path.join(d, "whole.log.gz")
    kit.status(1, "check", torn, "--recover", whole)
    kit.status(0, "check", whole)
    for extra, code in ((["--pressure-unit", "kPa", "--columns", "time=1,pressure=2,flow=3", "--flow-unit", "L/s"], "pressure_unit"),):
        bare = os.path.join(d, "bare.csv")
        kit.write_csv(bare, kit.breathing(2), "t_s,p,q")
        p = kit.status(1, "check", bare, *extra)
        kit.check(code in p.out, f"{code}: {p.out}")
    p = kit.status(1, "check", bare, "--columns", "time=1,pressure=2,flow=3", "--pressure-unit", "cmH2O", "--flow-unit", "L/s", "--invert", "flow")
    kit.check("sign:" in p.out, "a sign turned: " + p.out)
    p = kit.status(1, "check", bare, "--columns", "time=1,pressure=2,flow=3", "--pressure-unit", "cmH2O", "--flow-unit", "L/min")
    kit.check("flow_unit:" in p.out, "L/s read as L/min: " + p.out)
    clip = os.path.join(d, "clip.csv")
    kit.write_csv(clip, ((t, min(p_, 12.0), q) for t, p_, q in kit.breathing(2)))
    p = kit.status(1, "check", clip)
    kit.check("clipped:" in p.out, "a clipped channel: " + p.out)
    stuck = os.path.join(d, "stuck.csv")
    kit.write_csv(stuck, ((t, 7.5 if 50 < t < 70 else p_, q) for t, p_, q in kit.breathing(2)))
    p = kit.status(1, "check", stuck)
    kit.check("stuck:" in p.out and "20.0 s" in p.out, "a stuck channel: " + p.out)
    j = json.loads(kit.run("check", stuck, "--json").out)
    kit.same([f["code"] for f in j["findings"]], ["stuck"], "findings as JSON")
    kit.check(all(k in j for k in ("caution", "limits", "identifiability")), "cautions in JSON")

    # ---- breaths says what check says, where it makes every number wrong ----
    loud = os.path.join(d, "loud.csv")
    kit.write_csv(loud, ((t, p_, 60 * q) for t, p_, q in kit.breathing(2)))  # L/min under a heading that says L/s
    for path, extra, mend in ((good, ["--invert", "flow"], "--invert flow"), (loud, [], "--flow-unit")):
        p = kit.status(1, "breaths", path, *extra, "-o", os.path.join(d, "doubt"), "--force")
        kit.check("can't be trusted" in p.err and mend in p.err, f"{mend}: {p.err}")
    p = kit.status(2, "breaths", good, "-o", os.path.join(d, "none"), "--from", "20", "--to", "10")
    kit.check("not before" in p.err, "an empty window: " + p.err)
    kit.check(not os.path.exists(os.path.join(d, "none")), "no folder for an empty window")

    # A reader that stops early still hears that what it read is not what was stored (RFC 1952, section 2.3.1: CRC32).
    samples = list(kit.breathing(25))
    kit.write_csv(os.path.join(d, "long.csv"), samples[:90000] + samples[1000:60000])
    whole = gzip.compress(open(os.path.join(d, "long.csv"), "rb").read(), mtime=0)
    for name, data in (("true", whole), ("false", whole[:-8] + bytes([whole[-8] ^ 1]) + whole[-7:])):
        path = os.path.join(d, name + ".csv.gz")
        open(path, "wb").write(data)
        p = kit.status(1, "breaths", path, "-o", os.path.join(d, "early"), "--force")
        kit.check("time falls" in p.err, "time falls: " + p.err)
        kit.same("CRC-32" in p.err, name == "false", "damage told: " + p.err)
kit.finish()
