"""Two lung parts against SciPy: two_parts.py PROGRAM. The equations are written anew here, the fork's pressure is found by
root finding instead of a closed form, and the solver is another (LSODA, tolerances 1e-9)."""
import subprocess
import sys

try:
    import numpy as np
    from scipy.integrate import solve_ivp
    from scipy.optimize import brentq
except ImportError:
    sys.exit("python3-scipy is missing: apt-get install python3-scipy")

lines = subprocess.run([sys.argv[1]], capture_output=True, text=True, check=True).stdout.splitlines()
E0, E1, RI, RE, K2, B0, B1, ERELAX, TRELAX, TVALVE, XR, XK, XTAU, CC = map(float, lines[0].split())
ours = np.array([[float(x) for x in line.split()] for line in lines[1:]])


def tube(q):
    return (RI if q >= 0 else RE) * q + K2 * q * abs(q)


def slopes(_t, x, flow, hold):
    paw, v0, v1, relax, q_valve, p_valve = x
    a0, a1 = E0 * v0 + relax, E1 * v1 + relax

    def surplus(fork):
        return paw - fork - tube((fork - a0) / B0 + (fork - a1) / B1)
    low, high = min(paw, a0, a1) - 1, max(paw, a0, a1) + 1
    fork = brentq(surplus, low, high, xtol=1e-13)
    q0, q1 = (fork - a0) / B0, (fork - a1) / B1
    over = max(paw - p_valve, 0.0)
    out = (-XR + np.sqrt(XR * XR + 4 * XK * over)) / (2 * XK)
    tau = XTAU / 4 if hold > p_valve else XTAU
    return [(q_valve - out - q0 - q1) / CC, q0, q1, ERELAX * (q0 + q1) - relax / TRELAX,
            (flow - q_valve) / TVALVE, (hold - p_valve) / tau]


x, worst = [5.0, 5.0 / E0, 5.0 / E1, 0.0, 0.0, 5.0], np.zeros(4)
for start, end, flow, hold in ((0, 1, 0.5, 60.0), (1, 3, 0.0, 5.0), (3, 4, 0.5, 60.0), (4, 6, 0.0, 5.0)):
    pick = ours[(ours[:, 0] > start + 1e-6) & (ours[:, 0] < end + 1e-6)]
    # The valve of the first milliseconds is steep: a small first step.
    done = solve_ivp(slopes, (start, end), x, method="LSODA", t_eval=np.round(pick[:, 0], 6), rtol=1e-9, atol=1e-10,
                     args=(flow, hold), first_step=1e-5, max_step=0.01)
    assert done.success, done.message
    worst = np.maximum(worst, np.max(np.abs(done.y[:4].T - pick[:, 1:]), axis=0))
    x = done.y[:, -1]
print("largest difference: airway %.2g cmH2O, volumes %.2g and %.2g L, relaxation %.2g cmH2O" % tuple(worst))
assert np.ptp(ours[:, 1]) > 10 and np.ptp(ours[:, 3]) > 0.02, "nothing moved"
sys.exit(0 if worst[0] < 0.02 and worst[1] < 2e-5 and worst[2] < 2e-5 and worst[3] < 1e-3 else 1)
