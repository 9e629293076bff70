"""The files of the judge, from outside: files.py TIDEMARK-JUDGE. Same number, same bytes; columns of the contract; the log's
samples counted by hand; failures told."""
import csv
import gzip
import json
import os
import subprocess
import sys
import tempfile

judge = sys.argv[1]
BREATHS = ("t0_s t1_s t2_s kind initiation control vti_ml vte_ml vti_t_ml vte_t_ml pip_cmh2o pmean_cmh2o peep_cmh2o "
           "total_peep_cmh2o peak_insp_flow_l_s peak_exp_flow_l_s end_exp_flow_l_s pmus_max_cmh2o pmus_min_cmh2o effort scored "
           "why peep_scored dyn_c_ml_cmh2o dyn_ri_cmh2o_s_l dyn_re_cmh2o_s_l leak_pct power_j_min wob_j_l "
           "stress_index efl_share ineffective_effort double_trigger auto_trigger "
           "reverse_trigger early_cycling late_cycling trigger_delay insufficient_flow pressure_overshoot incomplete_exhalation flow_limitation expiratory_effort").split()


def run(*args):
    return subprocess.run([judge, *args], capture_output=True, text=True, check=False)


def read(prefix):
    found = {}
    for name in ("breaths.csv", "efforts.csv", "events.csv", "mechanics.csv", "patient.json"):
        with open(f"{prefix}.truth/{name}", "rb") as f:
            found[name] = f.read()
    with open(f"{prefix}.log.gz", "rb") as f:
        found["log"] = f.read()
    return found


def check(prefix, seconds):
    with open(f"{prefix}.truth/breaths.csv", encoding="ascii", newline="") as f:
        rows = list(csv.DictReader(f))
    assert list(rows[0]) == BREATHS, list(rows[0])
    last = -1e9
    for row in rows:
        t0, t1, t2 = float(row["t0_s"]), float(row["t1_s"]), float(row["t2_s"])
        assert last <= t0 <= t1 <= t2 <= seconds, row
        assert (row["scored"] == "1") == (row["why"] == ""), row
        assert row["kind"] in ("mandatory", "assisted", "supported", "unassisted", "manual")
        assert (row["kind"] == "unassisted") == (row["control"] == "none"), row
        for name in BREATHS[31:]:
            assert row[name] in ("", "0", "1"), row
        last = t0
    with open(f"{prefix}.truth/patient.json", encoding="ascii") as f:
        about = json.load(f)
    text = gzip.open(f"{prefix}.log.gz", "rt", encoding="ascii").read()
    samples = sum(1 for line in text.splitlines() if line[:1].isdigit() or line[:1] == "-")
    assert samples == about["samples"], (samples, about["samples"])
    for key in ("seed", "rate_hz", "settings", "stratum", "size", "lung", "ward", "leak_share", "troubles", "exact_sensor"):
        assert key in about, key
    return rows


with tempfile.TemporaryDirectory() as folder:
    one, two = os.path.join(folder, "one"), os.path.join(folder, "two")
    for number in ("1", "5"):
        assert run("patient", number, "-o", one).returncode == 0
        assert run("patient", number, "-o", two).returncode == 0
        assert read(one) == read(two), f"patient {number} is not the same twice"
        assert len(check(one, 720.0)) > 100
    assert run("quiet", "3", "-o", one).returncode == 0
    assert len(check(one, 1800.0)) < 60
    listed = run("list").stdout.splitlines()
    assert len(listed) == 240, len(listed)
    for wrong in (("patient", "240", "-o", one), ("patient", "x", "-o", one), ("quiet", "4", "-o", one), ("patient", "1"),
                  ("patient", "1", "-o", os.path.join(folder, "missing", "x"))):
        done = run(*wrong)
        assert done.returncode != 0 and done.stderr, wrong
print("files: as the contract says")
