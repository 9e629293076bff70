"""scenes.py TIDEMARK_SCENES TIDEMARK_SIM SOURCE: each drawing of docs/pictures holds what it claims. The claim is checked in the
truth files that the simulator writes for the same script, not in what the drawing's maker says of itself."""
import csv
import os
import re
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET

scenes, sim, source = sys.argv[1:4]
MOST_BYTES = 20000
INKS = {"#000", "#fff", "#1a1a1a", "#6a6a6a", "#e2e2e2", "#f3f3f3",
        "#D55E00"}  # vermillion: Okabe-Ito palette, published hex; the others are greys
faults = []


def check(ok, what):
    if not ok:
        faults.append(what)


def run(*command):
    return subprocess.run(command, stdout=subprocess.PIPE, check=True).stdout.decode()


def rows(folder, name):
    with open(os.path.join(folder, name), newline="") as f:
        return list(csv.DictReader(f))


def truth_check(folder, scene, panel, t0, pattern, label):
    found = [b for b in rows(folder, "breaths.csv") if abs(float(b["t0_s"]) - t0) < 0.002]
    if len(found) != 1:
        faults.append(f"{scene} {panel}: {len(found)} breaths start at {t0}")
        return
    if label in "01":
        check(found[0]["scored"] == "1" and found[0][pattern] == label,
              f"{scene} {panel}: the truth says '{found[0][pattern]}' of {pattern}, not {label}")
        return
    # The hold beside auto-PEEP: it shows more than 2 cmH2O, from 50 ms before closure to the plateau.
    holds = [dict(kv.split("=") for kv in e["values"].split(";")) for e in rows(folder, "events.csv")
             if e["event"] == "exp_hold" and t0 < float(e["start_s"]) < t0 + 6]
    check(len(holds) == 1 and float(holds[0]["autopeep_cmh2o"]) > 2, f"{scene} {panel}: no hold that shows auto-PEEP: {holds}")


names = set()
with tempfile.TemporaryDirectory() as work:
    for line in run(scenes, "--list").splitlines():
        scene, panel, t0, pattern, label = line.split()
        names.add(scene)
        script, prefix = os.path.join(work, "script"), os.path.join(work, scene + panel)
        with open(script, "w") as f:
            f.write(run(scenes, "--script", scene, panel))
        run(sim, "script", script, "-o", prefix)
        truth_check(prefix + ".truth", scene, panel, float(t0), pattern, label)
    made = os.path.join(work, "made")
    os.mkdir(made)
    run(scenes, made)
    kept = os.path.join(source, "docs", "pictures")
    check(sorted(os.listdir(made)) == sorted(os.listdir(kept)), "docs/pictures holds other files than are made")
    for name in sorted(names):
        with open(os.path.join(made, name + ".svg"), "rb") as f:
            svg = f.read()
        path = os.path.join(kept, name + ".svg")
        check(os.path.exists(path) and open(path, "rb").read() == svg,
              f"{name}.svg is not fresh (cmake --build build --target pictures renews it)")
        root = ET.fromstring(svg)
        words = [e.text or "" for e in root.iter()]
        check(len(svg) < MOST_BYTES, f"{name}.svg: {len(svg)} bytes")
        check(root[0].tag.endswith("title") and root[1].tag.endswith("desc") and root[0].text and root[1].text, f"{name}.svg: title, desc")
        check(any(w.startswith("Simulated") for w in words), f"{name}.svg does not say that it is simulated")
        check(set(re.findall(rb"#[0-9A-Fa-f]{3,6}\b", svg)) <= {i.encode() for i in INKS}, f"{name}.svg: another ink")
        check(b"nan" not in svg and b"inf" not in re.sub(rb"infl", b"", svg), f"{name}.svg: a place that is no number")
        check(all(len(w) <= 116 for e in root.iter() if e.tag.endswith("text") for w in [e.text or ""]), f"{name}.svg: a line too long")

with open(os.path.join(source, "fixtures", "sim", "patterns.def")) as f:
    patterns = set(re.findall(r"^PATTERN\((\w+)\)", f.read(), re.M))
check(names == patterns | {"autopeep_cmh2o"}, f"drawn: {sorted(names)}")
for fault in faults:
    print(fault)
print(f"{len(names)} drawings, {len(faults)} wrong")
sys.exit(1 if faults or not names else 0)
