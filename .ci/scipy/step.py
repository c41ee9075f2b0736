"""Fits one step run with SciPy, as a yardstick for package fit in time and in value.

    python3 step.py FILE ROUNDS

FILE is JSON: time_s, speed_rad_s and torque_nm (equally long lists), lag_s and lag_u_s, load (N·m·s²: torque
per square of speed), windows (from and to in s of idle, settled and return). Prints JSON: the median milliseconds
of a round and J in kg·m² by each form. A form is a regression on integrals over blocks of samples, whose noise is independent:

    T(t + lag)    = J·dω/dt + λ·load·ω² + z0 + z1·t            momentum
    T(t + lag)·ω  = d(J·ω²/2)/dt + (λ·load·ω² + z0 + z1·t)·ω   energy
"""

import json
import statistics
import sys
import time

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.interpolate import CubicSpline
from scipy.linalg import lstsq
from scipy.optimize import least_squares, minimize_scalar
from scipy.signal import savgol_filter

BLOCK = 40


def solve(rows, right):
    scale = np.abs(rows).max(axis=0)
    x = lstsq(rows / scale, right)[0] / scale
    return x, right - rows @ x


def balance(t, w, torque, load, energy=False):
    """(J, λ, z0, z1) and residuals."""
    weight, content = (w, w * w / 2) if energy else (1, w)
    integral = lambda y: np.diff(cumulative_trapezoid(y * weight, t, initial=0)[::BLOCK])
    terms = (load * w * w, np.ones_like(t), t - t.mean())
    return solve(np.column_stack([np.diff(content[::BLOCK])] + [integral(y) for y in terms]), integral(torque))


def step(t, w, torque, lag, lag_u, load, windows):
    spline = CubicSpline(t, torque)
    at = lambda tau: spline(np.clip(t + tau, t[0], t[-1]))
    now = at(lag)
    between = lambda a, b: (t >= windows[a][0]) & (t <= windows[b][1])
    part = lambda keep, **how: balance(t[keep], w[keep], now[keep], load, **how)[0][0]
    j = {"momentum": balance(t, w, now, load)[0][0], "energy": balance(t, w, now, load, energy=True)[0][0]}
    j["later"], j["earlier"] = (balance(t, w, at(lag + d), load)[0][0] for d in (lag_u, -lag_u))
    j["up"], j["down"] = part(between(0, 1)), part(between(1, 2))
    middle = (w.min() + w.max()) / 2
    j["lower"], j["upper"] = part(w <= middle), part(w >= middle)
    # The whole record sample by sample, robust, by a smoothed derivative.
    rate = savgol_filter(w, 31, 3, deriv=1, delta=(t[-1] - t[0]) / (len(t) - 1))
    model = np.column_stack([rate, load * w * w, np.ones_like(t)])
    scale = np.abs(model).max(axis=0)
    whole = least_squares(lambda x: model / scale @ x - now, solve(model, now)[0] * scale, loss="soft_l1", f_scale=1e-3)
    j["whole"] = whole.x[0] / scale[0]
    # Does another lag fit better?
    best = minimize_scalar(lambda tau: np.sum(balance(t, w, at(tau), load)[1] ** 2), bounds=(lag - 5e-3, lag + 5e-3), method="bounded", options={"xatol": 1e-5})
    return j, best.x


def main():
    with open(sys.argv[1]) as f:
        run = json.load(f)
    columns = [np.array(run[name]) for name in ("time_s", "speed_rad_s", "torque_nm")]
    took = []
    for _ in range(int(sys.argv[2])):
        start = time.process_time()
        j, lag = step(*columns, run["lag_s"], run["lag_u_s"], run["load"], run["windows"])
        took.append(1e3 * (time.process_time() - start))
    print(json.dumps({"ms": statistics.median(took), "j": j, "lag_s": lag}))


main()
