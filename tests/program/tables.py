"""The tables of a run, read back by Python: CSV against dictionary, summary against its schema, sums, hours, windows."""
import hashlib
import os
import re
import statistics
import sys
from decimal import ROUND_HALF_EVEN, Decimal

import kit

schema_path, docs = sys.argv[2], sys.argv[3]
TABLES = ["breaths.csv", "flags.csv", "events.csv", "hours.csv", "trials.csv", "limits.csv"]

# ---- JSON Schema, as much of it as docs/summary.schema.json uses; another keyword is a fault of this test ----
KNOWN = {"$schema", "title", "description", "type", "properties", "required", "additionalProperties", "items", "enum",
         "const", "pattern", "minimum", "minItems", "maxItems"}
TYPES = {"object": dict, "array": list, "string": str, "boolean": bool, "null": type(None)}


def is_type(v, name):
    if name == "integer":
        return isinstance(v, int) and not isinstance(v, bool)
    if name == "number":
        return isinstance(v, (int, float)) and not isinstance(v, bool)
    return isinstance(v, TYPES[name])


def validate(v, s, where):
    faults = [f"{where}: keyword {k} is not known here" for k in s if k not in KNOWN]
    if "type" in s:
        names = s["type"] if isinstance(s["type"], list) else [s["type"]]
        if not any(is_type(v, n) for n in names):
            return faults + [f"{where}: {v!r} is not {names}"]
    if "enum" in s and v not in s["enum"]:
        faults.append(f"{where}: {v!r} is not one of {s['enum']}")
    if "const" in s and v != s["const"]:
        faults.append(f"{where}: {v!r} is not {s['const']!r}")
    if "pattern" in s and isinstance(v, str) and not re.search(s["pattern"], v):
        faults.append(f"{where}: {v!r} does not match {s['pattern']}")
    if "minimum" in s and is_type(v, "number") and v < s["minimum"]:
        faults.append(f"{where}: {v!r} is under {s['minimum']}")
    if isinstance(v, list):
        if len(v) < s.get("minItems", 0) or len(v) > s.get("maxItems", len(v)):
            faults.append(f"{where}: {len(v)} items")
        for i, x in enumerate(v):
            faults += validate(x, s.get("items", {}), f"{where}[{i}]")
    if isinstance(v, dict):
        props, extra = s.get("properties", {}), s.get("additionalProperties", True)
        faults += [f"{where}: {k} is missing" for k in s.get("required", []) if k not in v]
        for k, x in v.items():
            if k in props:
                faults += validate(x, props[k], f"{where}.{k}")
            elif extra is False:
                faults.append(f"{where}: {k} is not foreseen")
            elif isinstance(extra, dict):
                faults += validate(x, extra, f"{where}.{k}")
    return faults


# ---- Table Schema (Data Package standard): required keys, types, constraints ----
FIELD_TYPES = {"string", "number", "integer", "boolean", "object", "array", "date", "time", "datetime", "year", "yearmonth",
               "duration", "geopoint", "geojson", "any"}
CONSTRAINTS = {"required", "unique", "minLength", "maxLength", "minimum", "maximum", "pattern", "enum"}


def check_dictionary(d, out):
    kit.same([r["path"] for r in d["resources"]], TABLES, "resources of the dictionary")
    for r in d["resources"]:
        fields = r["schema"]["fields"]
        names = [f["name"] for f in fields]
        kit.same(names, kit.header(os.path.join(out, r["path"])), f"fields of {r['path']}")
        kit.same(len(names), len(set(names)), f"{r['path']} has unique names")
        kit.same(r["schema"]["missingValues"], [""], "missing values")
        key = r["schema"].get("primaryKey", [])
        for k in [key] if isinstance(key, str) else key:
            kit.check(k in names, f"primary key {k} of {r['path']} is a field")
        for f in fields:
            kit.check(f["type"] in FIELD_TYPES, f"type of {f['name']}")
            kit.check(set(f.get("constraints", {})) <= CONSTRAINTS, f"constraints of {f['name']}")
            kit.check(f["title"] and f["description"], f"{f['name']} says what it is")
    kit.same(d["resources"][0]["schema"]["primaryKey"], "breath", "primary key of breaths.csv")


def check_cells(resource, rows):
    seen = {}
    for row in rows:
        for f in resource["schema"]["fields"]:
            v, c = row[f["name"]], f.get("constraints", {})
            where = f"{resource['path']} {f['name']} {v!r}"
            if v == "":
                kit.check(not c.get("required"), where + " is required")
                continue
            if f["type"] == "integer":
                kit.check(re.fullmatch(r"-?\d+", v) is not None, where)
            elif f["type"] == "number":
                kit.check(re.fullmatch(r"-?\d+(\.\d{%d})" % f["decimals"] if f["decimals"] else r"-?\d+", v) is not None, where)
            elif f["type"] == "datetime":
                kit.check(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}(Z|[+-]\d\d:\d\d)", v) is not None, where)
            kit.check("enum" not in c or v in c["enum"], where)
            kit.check("minimum" not in c or float(v) >= c["minimum"], where)
            kit.check("maximum" not in c or float(v) <= c["maximum"], where)
            kit.check(f["built"] or re.search("_judged$|_n$", f["name"]), where + " is not built, and not empty")
            if c.get("unique"):
                kit.check(v not in seen.setdefault(f["name"], set()), where + " is not unique")
                seen[f["name"]].add(v)


def explained(row):
    """Column -> code, from why_empty."""
    out = {}
    for part in filter(None, row["why_empty"].split(";")):
        code, columns = part.split(":")
        for c in columns.split(","):
            kit.check(c not in out, f"{c} stands twice in why_empty")
            out[c] = code
    return out


def check_reasons(rows, codes, always_reason):
    for row in rows:
        why = explained(row)
        for c, code in why.items():
            kit.check(code in codes, f"code {code}")
            kit.same(row[c], "", f"{c} in why_empty")
        for c, v in row.items():
            if v == "" and c not in ("why_empty", "unjudged", "flags", *always_reason):
                kit.check(c in why, f"breath at {row['start_s']}: {c} is empty without a reason")


def check_hours(hours, breaths):
    spoils = {"gap", "event"}
    for h in hours:
        mine = [b for b in breaths if int(float(b["start_s"]) // 3600) == int(h["hour"])]
        kit.same(int(h["breaths"]), len(mine), f"breaths of hour {h['hour']}")
        for k in ("mandatory", "assisted", "supported", "unassisted", "unknown"):
            kit.same(int(h[k]), sum(b["kind"] == k for b in mine), f"{k} of hour {h['hour']}")
        usable = [b for b in mine if b["ttot_s"] and not spoils & set(b["quality"].split(";"))]
        kit.same(int(h["usable_breaths"]), len(usable), f"usable breaths of hour {h['hour']}")
        for median, n, column, places in (("rate_median_per_min", "rate_n", "rate_per_min", 2), ("vte_median_ml", "vte_n", "vte_ml", 1),
                                          ("peep_median_cmh2o", "peep_n", "peep_cmh2o", 2), ("pip_median_cmh2o", "pip_n", "pip_cmh2o", 2),
                                          ("crs_median_ml_cmh2o", "crs_n", "fit_crs_ml_cmh2o", 1)):
            values = [Decimal(b[column]) for b in usable if b[column]]
            kit.same(int(h[n]), len(values), f"{n} of hour {h['hour']}")
            want = str(statistics.median(values).quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)) if values else ""
            kit.same(h[median], want, f"{median} of hour {h['hour']}")


def check_patterns(breaths, flags, hours, dictionary, summary):
    """What stands in flags.csv, on the rows, in the hours and in the summary is the same; each pattern is judged or not, once."""
    judged = {p for p, d in dictionary["patterns"].items() if d["built"]}
    kit.same(set(summary["patterns"]), judged, "patterns of the summary")
    counts = {}
    for f in flags:
        if f["pattern"] not in counts.setdefault(f["breath"], []):
            counts[f["breath"]].append(f["pattern"])
        keys = [e.split("=")[0] for e in f["evidence"].split(";")]
        kit.check(keys and set(keys) <= set(dictionary["patterns"][f["pattern"]]["evidence"]), f"evidence {keys} of {f['pattern']}")
        kit.check(f["confidence"] in ("definite", "possible"), f["confidence"])
    able = {p: [] for p in judged}
    for b in breaths:
        kit.same(";".join(counts.get(b["breath"], [])), b["flags"], f"flags of breath {b['breath']}")
        why = {p: part.split(":")[0] for part in b["unjudged"].split(";") if part for p in part.split(":")[1].split(",")}
        kit.same({p for p, code in why.items() if code == "not_built"}, set(dictionary["patterns"]) - judged, "patterns not built")
        kit.check(set(why.values()) <= set(dictionary["codes"]), "codes of unjudged")
        kit.check(not set(counts.get(b["breath"], [])) & set(why), "flagged and unjudged at once")
        for p in judged - set(why):
            able[p].append(b)
    for p in judged:
        s = summary["patterns"][p]
        kit.same(s["judged"], len(able[p]), f"judged breaths of {p}")
        kit.same(s["definite"] + s["possible"], sum(p in x for x in counts.values()), f"flags of {p}")
        kit.same(sum(int(h[p + "_judged"]) for h in hours), len(able[p]), f"judged breaths of {p} in the hours")
        kit.same(set(s["parameters"]), set(dictionary["patterns"][p]["parameters"]), f"parameters of {p}")
    kit.check(any(able.values()), "something was judged")


def check_targets(breaths, hours, summary):
    """Thresholds counted again from the rows. The program compares unrounded values: a printed one on the threshold is either."""
    blocks = {**summary["targets"], **summary["autopeep_burden"]["levels"]}
    # 6 and 30: N Engl J Med 2000;342:1301. 15: N Engl J Med 2015;372:747 (from memory). 17: doi 10.1007/s00134-018-5375-6
    want = {"vt_over_6": 6, "vt_over_8": 8, "vt_under_4": 4, "pplat_over_30": 30, "driving_over_15": 15, "driving_airway_over_15": 15,
            "power_over_12": 12, "power_over_17": 17, **{f"autopeep_over_{n}": n for n in (1, 3, 5, 10)}}
    kit.same({k: v["threshold"] for k, v in blocks.items()}, want, "thresholds")
    for name, s in blocks.items():
        every = name.startswith(("pplat", "driving", "autopeep"))
        mine = [b for b in breaths if b["ttot_s"] and b[s["column"]] and (every or not {"gap", "event"} & set(b["quality"].split(";")))]
        kit.same(s["judged"], len(mine), f"judged of {name}")
        kit.same(s["of"], len(breaths), f"of {name}")
        kit.same(s["judged"] + sum(s["unjudged"].values()), s["of"], f"{name}: judged or not")
        sign = -1 if s["side"] == "under" else 1
        over = [sign * (Decimal(b[s["column"]]) - Decimal(s["threshold"])) for b in mine]
        kit.check(sum(x > 0 for x in over) <= s["beyond"] <= sum(x >= 0 for x in over), f"beyond of {name}: {s['beyond']}")
        minutes = sum(float(b["ttot_s"]) for b, x in zip(mine, over) if x > 0) / 60
        if mine and 0 not in over:
            kit.check(abs(s["beyond_min"] - minutes) < 0.01 + len(mine) * 1e-5, f"minutes of {name}: {s['beyond_min']}, {minutes}")
        for k, of in (("_judged", "judged"), ("_breaths", "beyond")):
            kit.same(sum(int(h[name + k] or 0) for h in hours), s[of], f"{name}{k} in the hours")
        kit.check(abs(sum(float(h[name + "_min"] or 0) for h in hours) - (s["beyond_min"] or 0)) < 0.02, f"{name}_min in the hours")
    kit.check(blocks["vt_over_6"]["judged"] > 1000, "volumes were judged")


with kit.folder() as d:
    path, out = os.path.join(d, "night.csv"), os.path.join(d, "out")
    kit.write_csv(path, kit.breathing(75, 50, holes=((600, 603), (3650, 3800))))
    p = kit.run("breaths", path, "-o", out, "--start", "2026-03-04T22:30:00.250+01:00", "--height-cm", "165", "--sex", "f")
    kit.check(p.returncode in (0, 1), "run: " + p.err)
    files = sorted(os.listdir(out))
    kit.same(files, sorted(TABLES + ["dictionary.json", "summary.json"]), "files")
    for name in files:
        data = open(os.path.join(out, name), "rb").read()
        kit.check(data.endswith(b"\n") and b"\r" not in data and not data.startswith(b"\xef\xbb\xbf"), f"line ends of {name}")

    dictionary, summary = kit.load(os.path.join(out, "dictionary.json")), kit.load(os.path.join(out, "summary.json"))
    check_dictionary(dictionary, out)
    rows = {name: kit.table(os.path.join(out, name)) for name in TABLES}
    for r in dictionary["resources"]:
        check_cells(r, rows[r["path"]])
    breaths, hours = rows["breaths.csv"], rows["hours.csv"]
    kit.check(len(breaths) > 1000, f"{len(breaths)} breaths")
    kit.same([int(b["breath"]) for b in breaths], list(range(1, len(breaths) + 1)), "breath numbers")
    check_reasons(breaths, dictionary["codes"], ())
    check_patterns(breaths, rows["flags.csv"], hours, dictionary, summary)
    for b in breaths:
        # body weight 45.5 + 0.91 (165 - 152.4) = 56.966 kg (N Engl J Med 2000;342:1301)
        if b["vt_ml_kg"]:
            kit.check(abs(float(b["vt_ml_kg"]) - float(b["vte_ml"]) / 56.966) < 0.006, "vt_ml_kg")
    # 22:30:00.250+01:00 and the start in seconds
    kit.check(breaths[0]["start_time"].startswith("2026-03-04T22:30:0"), "start_time")
    check_hours(hours, breaths)
    check_targets(breaths, hours, summary)
    kit.same([h["hour"] for h in hours], ["0", "1"], "hours")
    kit.same(hours[1]["start_time"], "2026-03-04T23:30:00.250+01:00", "start of the second hour")
    # a hole of 3 s takes 3 s and one step away
    kit.check(abs(float(hours[0]["observed_s"]) - (3600 - 3.02)) < 0.05, f"observed {hours[0]['observed_s']}")
    for h in hours:
        for p, what in dictionary["patterns"].items():
            kit.check(what["built"] or h[p + "_judged"] == "0", f"{p} is judged, and not built")

    schema = kit.load(schema_path)
    for f in validate(summary, schema, "summary"):
        kit.check(False, f)
    kit.check(validate(dict(summary, surprise=1), schema, "s") != [], "the validator sees a strange key")
    kit.check(validate(dict(summary, breaths=[]), schema, "s") != [], "the validator sees a wrong type")
    kit.same(summary["input"]["sha256"], hashlib.sha256(open(path, "rb").read()).hexdigest(), "sum of the input")
    kit.same([f["name"] for f in summary["files"]], TABLES + ["dictionary.json"], "files of the summary")
    for f in summary["files"]:
        data = open(os.path.join(out, f["name"]), "rb").read()
        kit.same(f["sha256"], hashlib.sha256(data).hexdigest(), f"sum of {f['name']}")
        kit.same(f["bytes"], len(data), f"size of {f['name']}")
        kit.same(f["rows"], len(rows[f["name"]]) if f["name"] in rows else 0, f"rows of {f['name']}")
    kit.same(summary["breaths"]["n"], len(breaths), "breaths of the summary")
    usable = [b for b in breaths if b["ttot_s"] and b["quality"].find("gap") < 0 and "event" not in b["quality"]]
    want = statistics.median(Decimal(b["vte_ml"]) for b in usable if b["vte_ml"]).quantize(Decimal("0.1"), ROUND_HALF_EVEN)
    kit.same(Decimal(str(summary["medians"]["vte_ml"]["median"])), want, "median of the summary")
    kit.same(summary["subject"]["pbw_kg"], 56.966, "body weight")
    text = open(os.path.join(out, "summary.json"), encoding="utf-8").read()
    kit.check(d not in text and os.uname().nodename not in text.split('"'), "no path or host in the summary")

    # The same again gives the same bytes; standard input gives the same tables.
    out2, out3 = os.path.join(d, "out2"), os.path.join(d, "out3")
    args = ["--start", "2026-03-04T22:30:00.250+01:00", "--height-cm", "165", "--sex", "f"]
    kit.run("breaths", path, "-o", out2, *args)
    kit.run("breaths", "-", "-o", out3, *args, stdin=open(path, "rb").read())
    for name in TABLES + ["dictionary.json", "summary.json"]:
        one = open(os.path.join(out, name), "rb").read()
        kit.check(one == open(os.path.join(out2, name), "rb").read(), f"{name} again")
        if name != "summary.json":
            kit.check(one == open(os.path.join(out3, name), "rb").read(), f"{name} from standard input")

    # A window shows the rows of the whole, as they are.
    w = os.path.join(d, "window")
    kit.run("breaths", path, "-o", w, *args, "--from", "1000", "--to", "2026-03-04T22:50:00.250+01:00")
    lines = open(os.path.join(out, "breaths.csv")).read().splitlines()[1:]
    want = [x for x, b in zip(lines, breaths) if 1000 <= float(b["start_s"]) < 1200]
    kit.same(open(os.path.join(w, "breaths.csv")).read().splitlines()[1:], want, "rows of a window")
    kit.check(len(want) > 40, "the window holds breaths")
    kit.check(abs(float(kit.table(os.path.join(w, "hours.csv"))[0]["observed_s"]) - 200) < 0.05, "observed in the window")

    # Uncalibrated flow: timing stays, every volume and flow is empty with no_calib.
    u = os.path.join(d, "uncal")
    kit.run("breaths", path, "-o", u, "--flow-unit", "uncalibrated")
    for b in kit.table(os.path.join(u, "breaths.csv"))[5:50]:
        why = explained(b)
        for c in ("vti_ml", "vte_ml", "peak_insp_flow_l_s", "peak_exp_flow_l_s", "end_exp_flow_l_s", "ve_l_min"):
            kit.same((b[c], why.get(c)), ("", "no_calib"), f"{c} of uncalibrated flow")
kit.finish()
