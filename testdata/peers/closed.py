"""The sealed cycle of this folder by SciPy: prints method, seconds a cycle and error.

The state is pressure and work. Without arguments it prints a table of lines
"name tolerance seconds error"; error is the greatest relative error of pressure at 541
angles against reference.csv. With --reference it writes that file, at 1e-13.
"""
import math
import sys
import time

import numpy as np
from scipy.integrate import solve_ivp

BORE = STROKE = 0.086
ROD, RATIO, RPM = 0.1435, 10.5, 2000.0
GAS, WALL = 287.0, 450.0
DEG = math.pi / 180
FROM, TO, SPARK, SPAN = -140 * DEG, 130 * DEG, -20 * DEG, 55 * DEG
P0, T0 = 0.6e5, 350.0
PISTON = math.pi * BORE * BORE / 4
SWEPT = PISTON * STROKE
CLEAR = SWEPT / (RATIO - 1)
OMEGA = 2 * math.pi * RPM / 60
CRANK = STROKE / 2


def volume(t):
    s, c = math.sin(t), math.cos(t)
    root = math.sqrt(ROD * ROD - CRANK * CRANK * s * s)
    return CLEAR + PISTON * (CRANK + ROD - CRANK * c - root), PISTON * CRANK * s * (1 + CRANK * c / root)


V0 = volume(FROM)[0]
MASS = P0 * V0 / (GAS * T0)
HEAT = MASS / 15.6 * 44e6 * 0.95
SPEED = 2 * STROKE * RPM / 60
SWIRL = 3.24e-3 * SWEPT * T0 / (P0 * V0)
FILM = 3.26 * BORE**-0.2


def slope(t, y):
    p = y[0]
    v, dv = volume(t)
    temp = p * v / (MASS * GAS)
    gamma = 1.338 - 6e-5 * temp + 1e-8 * temp * temp
    burn, wave = 0.0, 2.28 * SPEED
    if t > SPARK:
        z = (t - SPARK) / SPAN
        burn = HEAT * 6.908 * 3 * z * z * math.exp(-6.908 * z * z * z) / SPAN
        wave += SWIRL * (p - P0 * (V0 / v) ** 1.33)
    film = FILM * (p / 1e3) ** 0.8 * temp**-0.55 * wave**0.8
    area = math.pi * BORE * BORE / 2 + 4 * v / BORE
    heat = burn - film * area * (temp - WALL) / OMEGA
    return (gamma - 1) / v * heat - gamma * p / v * dv, p * dv


GRID = np.linspace(FROM, TO, 541)
CUT = int(round((SPARK - FROM) / DEG * 2))


def cycle(method, rtol):
    first = solve_ivp(slope, (FROM, SPARK), (P0, 0.0), method=method, rtol=rtol, atol=(rtol * 1e5, rtol * 100), t_eval=np.append(GRID[:CUT], SPARK))
    second = solve_ivp(slope, (SPARK, TO), first.y[:, -1], method=method, rtol=rtol, atol=(rtol * 1e5, rtol * 100), t_eval=np.append(SPARK, GRID[CUT + 1 :]))
    return np.concatenate([first.y[0], second.y[0][1:]]), second.y[1][-1]


def main():
    if sys.argv[1:] == ["--reference"]:
        p, work = cycle("DOP853", 1e-13)
        print("# sealed cycle of closed.py by DOP853 at 1e-13; work %.8f J, greatest pressure at these angles %.6f bar" % (work, p.max() / 1e5))
        print("theta_deg,pressure_pa")
        for t, v in zip(GRID, p):
            print("%.1f,%.9g" % (t / DEG, v))
        return
    reference = np.loadtxt(sys.argv[1], delimiter=",", skiprows=2)[:, 1]
    for method in ("RK45", "LSODA", "DOP853"):
        for rtol in (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8):
            p, _ = cycle(method, rtol)
            error = np.abs(p / reference - 1).max()
            begin, n = time.perf_counter(), 0
            while time.perf_counter() - begin < 0.3 or n < 3:
                cycle(method, rtol)
                n += 1
            print("scipy-%s %g %.6g %.3g" % (method, rtol, (time.perf_counter() - begin) / n, error), flush=True)


main()
