"""Shared by the tests of the program: runs it in a folder of its own, makes recordings, reads tables back."""
import csv
import json
import math
import os
import subprocess
import sys
import tempfile

TIDEMARK = sys.argv[1]
faults = []
checks = 0


def check(ok, what):
    global checks
    checks += 1
    if not ok:
        faults.append(what)
        print("FAULT:", what)


def same(got, want, what):
    check(got == want, f"{what}: {got!r} instead of {want!r}")


def run(*args, stdin=None, cwd=None, preexec_fn=None, stdout=subprocess.PIPE):
    env = dict(os.environ, LC_ALL="C")
    p = subprocess.run([TIDEMARK, *args], input=stdin, stdout=stdout, stderr=subprocess.PIPE, cwd=cwd, env=env,
                       preexec_fn=preexec_fn, timeout=100)
    p.out = (p.stdout or b"").decode("utf-8")
    p.err = p.stderr.decode("utf-8")
    return p


def status(want, *args, **kw):
    p = run(*args, **kw)
    same(p.returncode, want, f"status of {' '.join(args)} ({p.err.strip()[:200]})")
    return p


def folder():
    return tempfile.TemporaryDirectory(prefix="tidemark-test-")


def breathing(minutes=3.0, rate=100, ti=1.0, ttot=4.0, e=20.0, r=10.0, peep=5.0, vt=0.45, holes=()):
    """Closed form: volume control, square flow, one compartment. Yields (t, pressure, flow)."""
    tau = (r + 1.5) / e
    flow = vt / ti
    rest = vt / math.expm1((ttot - ti) / tau)  # trapped volume at steady state
    for k in range(int(minutes * 60 * rate)):
        t = k / rate
        if any(a <= t < b for a, b in holes):
            continue
        x = (t - 2.0) % ttot
        # a little ripple with no common period: a real channel never stands still
        n = 0.02 * math.sin(37.0 * t) + 0.013 * math.sin(91.7 * t)
        if t < 2.0:
            yield t, peep + n, 0.001 * n
        elif x < ti:
            v = rest + flow * x
            yield t, peep + e * v + r * flow + n, flow + 0.05 * n
        else:
            v = (rest + vt) * math.exp(-(x - ti) / tau)
            yield t, peep + 1.5 * v / tau + n, -v / tau + 0.05 * n


def write_csv(path, samples, header="t_s,paw_cmh2o,flow_l_s"):
    with open(path, "w", encoding="ascii", newline="") as f:
        f.write(header + "\n")
        for t, p, q in samples:
            f.write(f"{t:.3f},{p:.3f},{q:.4f}\n")


def table(path):
    with open(path, encoding="utf-8", newline="") as f:
        return list(csv.DictReader(f, strict=True))


def header(path):
    with open(path, encoding="utf-8", newline="") as f:
        return next(csv.reader(f, strict=True))


def load(path):
    with open(path, encoding="utf-8") as f:
        return json.load(f)


def finish():
    print(f"{checks} checks, {len(faults)} faults")
    sys.exit(1 if faults or checks == 0 else 0)
