"""stability.py TIDEMARK SIMULATOR: flags of one recording do not hang on its rate, on a gain that is off by 1 %, or on when it was begun."""
import os
import tempfile

import recordings as r
import scripts

AGREE = 0.95  # of the flags that either has, over all recordings
EACH = 0.75   # ... in any one: at half the rate those near a threshold go either way, which are most of a flow-limited lung's
SHIFT_S = 0.37
# Half of the rate is made by means of two samples, as a slower converter behind its filter would; gains: of pressure, of flow.
WAYS = ("half", "pressure", "flow", "later", "begun_later")


def samples(path):
    with open(path, encoding="ascii") as f:
        head = next(f)
        return head, [tuple(map(float, line.split(","))) for line in f]


def varied(way, all_of_it):
    if way == "half":
        pairs = zip(all_of_it[::2], all_of_it[1::2])
        return [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2) for a, b in pairs], 0.0
    if way == "pressure":
        return [(t, p * 1.01, q) for t, p, q in all_of_it], 0.0
    if way == "flow":
        return [(t, p, q * 1.01) for t, p, q in all_of_it], 0.0
    if way == "later":
        return [(t + SHIFT_S, p, q) for t, p, q in all_of_it], 0.0  # the first sample is time 0
    return [(t - SHIFT_S, p, q) for t, p, q in all_of_it if t >= SHIFT_S], -SHIFT_S


def flags(rows, offset):
    return [(row["t"] - offset, name) for row in rows for name in row["flagged"]]


def agreement(a, b):
    """Flags of the same pattern on breaths that start within 0.15 s; the recording's first minute is learnt in, and left out."""
    a, b = [[f for f in x if f[0] > 60] for x in (a, b)]
    near = sum(any(abs(t - u) < 0.15 and name == other for u, other in b) for t, name in a)
    return near, len(a) + len(b) - near


def main():
    total = {way: [0, 0] for way in WAYS}
    with tempfile.TemporaryDirectory() as folder:
        for name, script in scripts.SCRIPTS.items():
            recording, rows, _ = r.simulated(folder, name, script.replace("rate 100\n", "rate 200\n").replace("seconds 900\n", "seconds 600\n"))
            head, plain = samples(recording)
            for way in WAYS:
                other, offset = varied(way, plain)
                path = os.path.join(folder, f"{name}.{way}.csv")
                with open(path, "w", encoding="ascii") as f:
                    f.write(head)
                    f.writelines(f"{t:.4f},{p:.4f},{q:.5f}\n" for t, p, q in other)
                same, either = agreement(flags(rows, 0), flags(r.tables_of(path), offset))
                total[way][0] += same
                total[way][1] += either
                print(f"{name} {way}: {same} of {either}")
                r.check(same >= EACH * either, f"{name} {way}: {same} of {either} flags agree")
    for way, (same, either) in total.items():
        print(f"{way}: {same} of {either}, {100 * same / max(1, either):.1f} %")
        r.check(same >= AGREE * either, f"{way}: {same} of {either} flags agree")
        r.check(either > 1000, f"{way}: too few flags to say")
    r.finish()


main()
