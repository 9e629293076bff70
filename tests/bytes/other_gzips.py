"""Files that gzip, pigz and Python's gzip wrote are read here, byte for byte, also joined and with names in them."""
import gzip
import os
import random
import subprocess
import sys
import tempfile

cat = sys.argv[1]
rng = random.Random(3)
text = "".join(f"{i / 100:.2f},{rng.gauss(12, 5):.2f},{rng.gauss(0, 0.5):.3f}\n" for i in range(200000)).encode()
noise = rng.randbytes(3_000_000)  # does not compress: longer than a member that is held


def check(name, data, want):
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "f.gz")
        with open(path, "wb") as f:
            f.write(data)
        got = subprocess.run([cat, path], capture_output=True, check=False)
    assert got.returncode == 0, (name, got.returncode, got.stderr)
    assert got.stdout == want, name


def tool(*argv, data):
    return subprocess.run(argv, input=data, capture_output=True, check=True).stdout


with tempfile.TemporaryDirectory() as folder:
    named = os.path.join(folder, "night.txt")
    with open(named, "wb") as f:
        f.write(text)
    subprocess.run(["gzip", "-9", named], check=True)
    with open(named + ".gz", "rb") as f:
        with_name = f.read()
made = {
    "gzip -1": tool("gzip", "-1", data=text),
    "gzip -6": tool("gzip", "-6", data=text),
    "gzip -9, with a name": with_name,
    "pigz": tool("pigz", "-c", "-b", "128", data=text),
    "pigz -i -p 2": tool("pigz", "-c", "-i", "-p", "2", data=text),
    "python": gzip.compress(text, 6),
    "python, stored": gzip.compress(text, 0),
}
for name, data in made.items():
    check(name, data, text)
    check(name + ", twice", data + data, text + text)
small = b"".join(gzip.compress(text[i : i + 1000]) for i in range(0, len(text), 1000))
check("small members", small, text)
check("noise", gzip.compress(noise), noise)
check("small, noise, small", small + gzip.compress(noise) + small, text + noise + text)
check("empty members", gzip.compress(b"") * 50 + gzip.compress(text) + gzip.compress(b"") * 50, text)
print("read", len(made) * 2 + 4, "files as they were written")
