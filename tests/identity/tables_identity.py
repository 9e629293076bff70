"""The same samples give the same bytes in every table: tables_identity.py TIDEMARK SIMULATOR [OTHER_TIDEMARK].

Plain and gzipped text, members of several sizes and compressors, standard input, text and its converted log, the
recording made twice, and, where a second program is given (another compiler, another optimisation), that too."""
import gzip
import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile

from sim import simulate

tidemark, simulator = sys.argv[1:3]
others = [o for o in sys.argv[3:] if o]
TABLES = ["breaths.csv", "flags.csv", "events.csv", "hours.csv", "trials.csv", "limits.csv", "dictionary.json"]
faults, compared = [], 0


def tables(program, recording, out, *options):
    """Digest of each table. Of summary.json `burden` alone: the rest holds the digest of the input as stored, and its format."""
    if recording == "-":
        source, stdin = "-", options[-1]
        options = options[:-1]
    else:
        source, stdin = recording, os.devnull
    with open(stdin, "rb") as f:
        done = subprocess.run([program, "breaths", source, "-o", out, *options], stdin=f, capture_output=True, text=True,
                              check=False, timeout=300)
    if done.returncode != 0:
        sys.exit(f"{recording}: exit {done.returncode}: {done.stderr}")
    digests = {}
    for name in TABLES:
        path = os.path.join(out, name)
        if os.path.exists(path):
            with open(path, "rb") as f:
                digests[name] = hashlib.sha256(f.read()).hexdigest()
    with open(os.path.join(out, "summary.json"), "rb") as f:
        burden = json.load(f)["burden"]
    digests["summary.json: burden"] = hashlib.sha256(json.dumps(burden).encode()).hexdigest()
    with open(os.path.join(out, "breaths.csv"), encoding="utf-8") as f:
        rows = len(f.readlines()) - 1
    if rows < 20:
        sys.exit(f"{recording}: only {rows} breaths: the comparison has no food")
    shutil.rmtree(out)
    return digests


def same(name, expected, got):
    global compared
    compared += 1
    for table in expected:
        if got.get(table) != expected[table]:
            faults.append(f"{name}: {table} differs")
    if set(got) != set(expected):
        faults.append(f"{name}: other tables: {sorted(got)}")


def members(text, path, lines_each):
    """gzip members of a given number of lines each, as a recorder or a splitter leaves them."""
    lines = text.splitlines(keepends=True)
    with open(path, "wb") as f:
        for i in range(0, len(lines), lines_each):
            f.write(gzip.compress(b"".join(lines[i:i + lines_each]), mtime=0))


def bytes_members(text, path, size):
    """Members that end in the middle of a line: legal, for gzip knows nothing of lines."""
    with open(path, "wb") as f:
        for i in range(0, len(text), size):
            f.write(gzip.compress(text[i:i + size], mtime=0))


def main():
    with tempfile.TemporaryDirectory() as scratch:
        out = os.path.join(scratch, "tables")
        log, text = simulate(simulator, scratch, seed=3, minutes=6)
        reference = tables(tidemark, text, out)
        with open(text, "rb") as f:
            raw = f.read()
        one = os.path.join(scratch, "one.csv.gz")
        with gzip.open(one, "wb") as f:
            f.write(raw)
        same("gzipped", reference, tables(tidemark, one, out))
        for lines in (100, 1000, 6007):
            path = os.path.join(scratch, f"m{lines}.csv.gz")
            members(raw, path, lines)
            same(f"members of {lines} lines", reference, tables(tidemark, path, out))
        for size in (997, 65536):
            path = os.path.join(scratch, f"b{size}.csv.gz")
            bytes_members(raw, path, size)
            same(f"members of {size} bytes", reference, tables(tidemark, path, out))
        if shutil.which("pigz"):
            path = os.path.join(scratch, "pigz.csv.gz")
            with open(path, "wb") as f:
                subprocess.run(["pigz", "-c", "-b", "32", "-p", "2", text], stdout=f, check=True)
            same("pigz", reference, tables(tidemark, path, out))
        same("standard input", reference, tables(tidemark, "-", out, text))
        same("standard input, gzipped", reference, tables(tidemark, "-", out, one))
        converted = os.path.join(scratch, "converted.log.gz")
        subprocess.run([tidemark, "convert", text, converted], check=True, capture_output=True, timeout=300)
        same("text converted to a log", reference, tables(tidemark, converted, out))
        from_log = tables(tidemark, log, out)
        unpacked = os.path.join(scratch, "night.log")
        with open(unpacked, "wb") as f:
            f.write(gzip.open(log, "rb").read())
        same("log unpacked", from_log, tables(tidemark, unpacked, out))
        same("log a second time", from_log, tables(tidemark, log, out))
        for other in others:
            same(f"{other}, text", reference, tables(other, text, out))
            same(f"{other}, log", from_log, tables(other, log, out))
    for fault in faults:
        print("WRONG", fault)
    print(f"identity: {compared} ways compared, {len(faults)} differences")
    sys.exit(1 if faults or compared < 10 else 0)


main()
