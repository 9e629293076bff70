"""What asynchrony came to, counted again from the tables: burden.py TIDEMARK SIMULATOR.

Supported breaths in a lung that empties slowly; support doubles and ends late after 25 minutes, so that efforts go unanswered."""
import json
import os
import subprocess
import sys

import kit

simulator = sys.argv[2]
SCRIPT = """# Support that grows until efforts go unanswered; invented
seed 90210
rate 100
seconds 3000
step 0.002
subject P9
sex m
height_cm 178
0 set mode=ps dp_cmh2o=10 peep_cmh2o=5 end_flow=0.25 trigger=flow
0 set c_ml_cmh2o=60 ri_cmh2o_s_l=14 re_cmh2o_s_l=24
0 set drive_per_min=22 drive_cv=0.05 pmus_cmh2o=7 pmus_cv=0.1 effort_rise_s=0.6 effort_relax_s=0.15
0 set noise_p=0.04 noise_q=0.002
0:12:00 mark posture to=sitting note=see%20chart
0:25:00 set dp_cmh2o=20 end_flow=0.05 re_cmh2o_s_l=30
0:40:00 mark posture to=supine
"""
CORE = {"ineffective_effort", "double_trigger", "auto_trigger"}
PATIENT = {"ineffective_effort", "double_trigger"}


def unjudged(b):
    return {p for part in b["unjudged"].split(";") if part for p in part.split(":")[1].split(",")}


def count(breaths, flags, names, sure):
    """(judged, events, ineffective efforts) by the definition, over the machine breaths in which all names could be judged."""
    able = {b["breath"] for b in breaths if b["kind"] != "unassisted" and not unjudged(b) & names}
    mine = [f for f in flags if f["breath"] in able and (f["confidence"] == "definite" or not sure)]
    return len(able), sum(f["pattern"] in names for f in mine), sum(f["pattern"] == "ineffective_effort" for f in mine)


def same_index(i, breaths, flags, names, where):
    machine = sum(b["kind"] != "unassisted" for b in breaths)
    kit.same(i["of"], machine, f"machine breaths of {where}")
    for which, sure in (("definite", True), ("with_possible", False)):
        judged, events, ineffective = count(breaths, flags, names, sure)
        kit.same((i["judged"], i["events"][which], i["ineffective_efforts"][which]), (judged, events, ineffective), f"{where}, {which}")
        if 2 * judged < machine or judged == 0:
            kit.same((i["pct"][which], i["why_empty"]), (None, "few_breaths"), f"{where} is not given")
        else:
            kit.check(abs(i["pct"][which] - 100 * events / (judged + ineffective)) < 0.0051, f"{where}, {which}: {i['pct']}")


def check(b, breaths, flags):
    kit.same(b["line"]["pct"], 10, "the published line (Thille 2006, doi 10.1007/s00134-006-0301-8)")
    for name, names in (("core", CORE), ("patient", PATIENT), ("all", set(b["by_pattern"]))):
        kit.same(set(b[name]["sums"]), names, f"names of {name}")
        same_index(b[name], breaths, flags, names, name)
    for p, i in b["by_pattern"].items():
        same_index(i, breaths, flags, {p}, p)
    kit.check(b["patient"]["events"]["with_possible"] > 100, "efforts went unanswered")
    able = [x for x in breaths if x["kind"] != "unassisted" and "ineffective_effort" not in unjudged(x)]
    kit.same(b["ineffective_triggering"]["triggered"], sum(x["initiation"] == "patient" for x in able), "triggered")
    # 3 minutes with more than 30 (Vaporidi 2017, doi 10.1007/s00134-016-4593-z), counted by brute force
    times = sorted(float(f["at_s"]) for f in flags if f["pattern"] == "ineffective_effort")
    inside = {j for i, t in enumerate(times) if sum(t - 180 < u <= t for u in times) > 30 for j, u in enumerate(times) if t - 180 < u <= t}
    kit.same(sum(c["efforts"] for c in b["clusters"]["with_possible"]["first"]), len(inside), "efforts in clusters")
    kit.check(inside, "there is a cluster")
    ml = sum(float(e.split("=")[1]) for f in flags if f["pattern"] == "double_trigger" for e in f["evidence"].split(";") if e.startswith("vstack"))
    kit.check(abs(b["stacked"]["ml"]["with_possible"] - ml) <= 0.6 * b["stacked"]["breaths"]["with_possible"], f"stacked volume {ml}")


def check_changes(b, breaths, flags):
    steps = {s["what"]: s for s in b["changes"]["kept"]}
    kit.check("pressure" in steps and abs(steps["pressure"]["at_s"] - 1500) < 10, f"support changed at 1500 s: {sorted(steps)}")
    s = steps["pressure"]
    kit.check(abs(s["to"] - s["from"] - 10) < 1.5, f"by 10 cmH2O: {s['from']} to {s['to']}")
    for side in (s["before"], s["after"], *(m[k] for m in b["marks"]["first"] for k in ("before", "after"))):
        mine = [x for x in breaths if side["from_s"] <= float(x["start_s"]) < side["to_s"] and "ineffective_effort" not in unjudged(x)]
        own = {x["breath"] for x in mine}
        n = sum(f["breath"] in own and f["pattern"] == "ineffective_effort" for f in flags)
        kit.same((side["judged"], side["ineffective_efforts"]["with_possible"]), (len(mine), n), f"from {side['from_s']}")
        seconds = sum(float(x["ttot_s"]) for x in mine if x["ttot_s"])
        kit.check(abs(side["per_h"]["with_possible"] - 3600 * n / seconds) < 0.01 * (n + 1), f"per hour from {side['from_s']}")
    kit.check(s["before"]["per_h"]["with_possible"] < 60 < s["after"]["per_h"]["with_possible"], "and efforts went unanswered after it")
    blocks = b["marks"]["first"]
    kit.same([(m["kind"], m["text"], m["from_s"], m["to_s"] > 2990) for m in blocks],
             [("posture", "to=sitting", 720, False), ("posture", "to=supine", 2400, True)], "blocks of the marks, without free text")
    for m in blocks:
        part = [x for x in breaths if m["from_s"] <= float(x["start_s"]) < m["to_s"]]
        own = {x["breath"] for x in part}
        same_index(m["patient"], part, [f for f in flags if f["breath"] in own], PATIENT, f"block from {m['from_s']}")


with kit.folder() as d:
    with open(os.path.join(d, "script.txt"), "w", encoding="utf-8") as f:
        f.write(SCRIPT)
    subprocess.run([simulator, "script", os.path.join(d, "script.txt"), "-o", os.path.join(d, "p"), "--log"], check=True)
    p = kit.run("breaths", os.path.join(d, "p.log.gz"), "-o", os.path.join(d, "out"), "--glance")
    kit.same(p.returncode, 0, "run: " + p.err)
    breaths, flags = kit.table(os.path.join(d, "out", "breaths.csv")), kit.table(os.path.join(d, "out", "flags.csv"))
    summary = kit.load(os.path.join(d, "out", "summary.json"))
    b = summary["burden"]
    check(b, breaths, flags)
    check_changes(b, breaths, flags)
    text = json.dumps(summary)
    kit.check("chart" not in text, "a mark's free text stays out")
    for word in ("should", "recommend", "safe", "dangerous", "improve"):
        kit.check(all(word not in x["sentence"] for x in b["changes"]["kept"] + b["marks"]["first"]), f"no advice: {word}")
    line = next((x for x in p.out.splitlines() if x.startswith("  Asynchrony")), "")
    kit.check("index" in line and "judged" in line and "no limit" in p.out, f"the glance: {line}")
    hour = kit.table(os.path.join(d, "out", "hours.csv"))[0]
    judged, events, ineffective = count(breaths, flags, PATIENT, False)
    kit.check(abs(float(hour["ai_patient_pct"]) - 100 * events / (judged + ineffective)) < 0.0051, "the hour's index")
    kit.same(int(hour["ai_patient_judged"]), judged, "the hour's judged breaths")
    if 2 * count(breaths, flags, CORE, False)[0] < int(hour["machine_breaths"]):
        kit.check(hour["ai_core_pct"] == "" and "ai_core_pct" in hour["why_empty"], "no core index for the hour")
kit.finish()
