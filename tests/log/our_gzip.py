"""Our logs are read by gzip -t, zcat, pigz and Python: whole, text as it should be, members reproducible."""
import gzip
import os
import subprocess
import sys
import tempfile
import zlib

writer = sys.argv[1]
with tempfile.TemporaryDirectory() as folder:
    path = os.path.join(folder, "a.log.gz")
    subprocess.run([writer, path, "150"], check=True)
    with open(path + ".txt", "rb") as f:
        text = f.read()
    with open(path, "rb") as f:
        data = f.read()
    for check in (["gzip", "-t", path], ["pigz", "-t", path]):
        done = subprocess.run(check, capture_output=True, check=True)
        assert not done.stderr, (check, done.stderr)
    assert subprocess.run(["zcat", path], capture_output=True, check=True).stdout == text
    assert gzip.decompress(data) == text
    again = os.path.join(folder, "b.log.gz")
    subprocess.run([writer, again, "150"], check=True)
    with open(again, "rb") as f:
        assert f.read() == data, "the same samples give the same bytes"

members, rest = [], data
while rest:
    assert rest[:10] == b"\x1f\x8b\x08\0\0\0\0\0\0\xff", rest[:10].hex()  # MTIME 0, OS unknown
    z = zlib.decompressobj(31)
    members.append(z.decompress(rest))
    rest = z.unused_data
assert len(members) == 3, len(members)
assert all(m.startswith(b"%tidemark 1\n") and m.endswith(b"\n") for m in members)
assert b"".join(members) == text and text.endswith(b"\n.15000\n")
samples = [e for e in text.split(b"\n") if e[:1].isdigit() or e[:1] == b"-"]
assert len(samples) == 15000
print("read by gzip, pigz, zcat and Python")
