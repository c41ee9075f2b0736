# Writes scipy.csv: passages computed by SciPy's own solvers, against which the
# project's solver is held. python3 make.py > scipy.csv
import numpy as np
import scipy
from scipy.integrate import solve_ivp

def passage(name, f, y0, event, limit, method):
    event.terminal = True
    s = solve_ivp(f, (0, limit), y0, method=method, rtol=1e-12, atol=1e-14, events=event)
    t, y = s.t_events[0][0], s.y_events[0][0]
    print(f"{name},{method},{t!r}," + " ".join(repr(float(v)) for v in y))

print(f"# scipy {scipy.__version__}, numpy {np.__version__}")
print("case,method,time_s,state")
# A rotor, its torque on a line with a first-order lag, a load with an exponent, charge and energy.
J, A, B, V, D, TE, K, N = 6.3e-6, 0.0589, -3.128e-4, 14.8, 0.7, 3e-4, 1.7e-8, 1.93
def rotor(t, y):
    w, torque, q, e = y
    i = (torque + 1.5e-3) / 5.305e-3
    return [(torque - K * w**N) / J, (A * D * V + B * w - torque) / TE, D * i, V * D * i]
start = [700.0, K * 700.0**N, 0.0, 0.0]
def up(t, y): return y[0] - 1500.0
for method in ("DOP853", "LSODA"):
    passage("rotor with lag", rotor, start, up, 5, method)
# A coast with dry friction, viscous and square drag.
def coast(t, y): return [-(1.5e-3 + 1.5e-6 * y[0] + 1.7e-8 * y[0]**2) / 6.3e-6]
def down(t, y): return y[0] - 150.0
for method in ("DOP853", "LSODA"):
    passage("coast", coast, [1800.0], down, 20, method)
# Lotka-Volterra: nothing of this trade, but strongly non-linear.
def prey(t, y): return [1.5 * y[0] - y[0] * y[1], y[0] * y[1] - 3 * y[1]]
def third(t, y): return y[1] - 2.0
third.direction = -1
for method in ("DOP853", "LSODA"):
    passage("prey", prey, [10.0, 5.0], third, 20, method)
