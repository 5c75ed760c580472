"""The sealed part of a cycle, of one zone or of two, integrated apart from the Go code.

Reads one JSON case on stdin, writes {"p": [...]} (Pa at the angles of "theta")
on stdout. The physics is the same, the way is another: the state is the
internal energy, temperature and pressure come from it by iteration, the
equilibrium by Gibbs-energy minimisation (element potentials and moles after
Gordon and McBride, NASA RP-1311, 1994), and SciPy's DOP853 integrates.
With two zones, state and derivatives of pressure and
both temperatures come from a linear system whose coefficients are differences
of the property functions. Needs numpy and scipy. Angles in radians, everything else SI.
"""

import csv
import json
import math
import os
import sys

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

RU, P0 = 8.31446261815324, 1e5
ELEMENTS = ("C", "H", "O", "N")
PRODUCTS = {
    "N2": (0, 0, 0, 2), "O2": (0, 0, 2, 0), "CO2": (1, 0, 2, 0), "H2O": (0, 2, 1, 0), "CO": (1, 0, 1, 0),
    "H2": (0, 2, 0, 0), "H": (0, 1, 0, 0), "O": (0, 0, 1, 0), "OH": (0, 1, 1, 0), "NO": (0, 0, 1, 1),
}
FUELS = {"IC8H18": (8, 18, 0, 0), "NC7H16": (7, 16, 0, 0), "C7H8": (7, 8, 0, 0)}
MASS = dict(C=12.011, H=1.008, O=15.999, N=14.007)

COEFFS = {}  # species -> [low, high] of a1..a7
here = os.path.dirname(os.path.abspath(__file__))
with open(os.path.join(here, "..", "reference", "nasa7.csv"), newline="") as f:
    for row in csv.DictReader(f):
        name = row["species"].split()[0]
        a = [float(v) for k, v in row.items() if k[0] == "a" and k[1].isdigit()]
        COEFFS.setdefault(name, {})[row["range"]] = a


class Species:
    """Arrays of h/RT, s/R and cp/R for a list of species at one temperature."""

    def __init__(self, names):
        self.low = np.array([COEFFS[n]["low"] for n in names])
        self.high = np.array([COEFFS[n]["high"] for n in names])

    def at(self, t):
        a = self.low if t <= 1000 else self.high
        h = a[:, :5] @ np.array([1, t / 2, t**2 / 3, t**3 / 4, t**4 / 5]) + a[:, 5] / t
        s = a[:, :5] @ np.array([math.log(t), t, t**2 / 2, t**3 / 3, t**4 / 4]) + a[:, 6]
        return h, s


class Charge:
    """Fresh and burned gas of one fuel (mole fractions by species) and lambda."""

    def __init__(self, fuel, lam):
        atoms = sum(x * np.array(FUELS[n], float) for n, x in fuel.items())
        o2 = lam * (atoms[0] + atoms[1] / 4 - atoms[2] / 2)
        n = dict(fuel)
        n["O2"], n["N2"] = o2, 3.773 * o2
        every = {**PRODUCTS, **FUELS}
        mass = sum(x * sum(k * MASS[e] for k, e in zip(every[s], ELEMENTS)) for s, x in n.items()) * 1e-3
        self.fresh = Species(list(n))
        self.fresh_moles = np.array(list(n.values())) / mass  # [mol/kg]
        self.b = (atoms + np.array([0, 0, 2 * o2, 2 * 3.773 * o2])) / mass
        self.a = np.array(list(PRODUCTS.values()), float).T
        self.hot = Species(list(PRODUCTS))
        self.moles = np.full(len(PRODUCTS), 3.0)
        self.last = None

    def equilibrium(self, t, p):
        if self.last == (t, p):
            return self.moles
        h, s = self.hot.at(t)
        g0 = h - s + math.log(p / P0)
        n = np.maximum(self.moles, 1e-12)
        total = n.sum()
        a, b = self.a, self.b
        k = len(b)
        for _ in range(500):
            mu = g0 + np.log(n / total)
            an = a * n
            m = np.zeros((k + 1, k + 1))
            m[:k, :k] = an @ a.T
            m[:k, k] = m[k, :k] = an.sum(axis=1)
            m[k, k] = n.sum() - total
            rhs = np.append(b - an.sum(axis=1) + an @ mu, total - n.sum() + n @ mu)
            x = np.linalg.solve(m, rhs)
            step = x[k] + a.T @ x[:k] - mu
            damp = min(1.0, 2.0 / max(1e-300, np.abs(step).max(), abs(5 * x[k])))
            n = n * np.exp(damp * step)
            total *= math.exp(damp * x[k])
            if np.abs(step * np.minimum(1, n / total * 1e6)).max() < 1e-8:  # Newton: the next step would be its square
                break
        else:
            raise RuntimeError("no equilibrium at %g K %g Pa" % (t, p))
        self.moles, self.last = n, (t, p)
        return n

    def uv(self, t, p, burned, freeze, width):
        """u [J/kg] and v [m3/kg] of the mixture."""
        u = v = 0.0
        if burned < 1:
            h, _ = self.fresh.at(t)
            m = self.fresh_moles
            u += (1 - burned) * RU * t * (m @ (h - 1))
            v += (1 - burned) * m.sum() * RU * t / p
        if burned > 0:
            m = self.equilibrium(freeze + width * np.logaddexp(0, (t - freeze) / width), p)
            h, _ = self.hot.at(t)
            u += burned * RU * t * (m @ (h - 1))
            v += burned * m.sum() * RU * t / p
        return u, v


def two_zones(case, c, volume, heat_coefficient, theta, out):
    """From the start of burning: unburned and burned zone at one pressure."""
    freeze, width, share = case["freeze"], case["width"], case["efficiency"]

    def x(th):
        tau = (th - case["start"]) / case["span"]
        e = case["a"] * tau ** (case["m"] + 1)
        rate = (case["m"] + 1) * case["a"] / case["span"] * tau ** case["m"] * math.exp(-e)
        return -math.expm1(-e), rate

    def slopes(t, p, b):
        """u, v and their differences by T and by p, central."""
        dt, dp = 1e-4 * t, 1e-4 * p
        at = [np.array(c.uv(*q, b, freeze, width)) for q in
              ((t, p), (t + dt, p), (t - dt, p), (t, p + dp), (t, p - dp))]
        return at[0], (at[1] - at[2]) / (2 * dt), (at[3] - at[4]) / (2 * dp)

    def f(th, y):
        p, tu, tb, mu, mb = y
        dv = volume(th)[1]
        frac, rate = x(th)
        burn = mu * share * rate / (1 - share * frac)
        (uu, vu), ut, up = slopes(tu, p, case["residual"])
        (ub, vb), bt, bp = slopes(tb, p, 1.0)
        m = mu + mb
        k, wall = heat_coefficient(th, (mu * tu + mb * tb) / m, p)
        part = math.sqrt(mb / m)
        qu, qb = k * (1 - part) * (tu - wall), k * part * (tb - wall)
        # Unknown p', Tu', Tb'. First law of each zone, du = -p dv - dq, and the volume.
        a = np.array([
            [mu * (up[0] + p * up[1]), mu * (ut[0] + p * ut[1]), 0],
            [mb * (bp[0] + p * bp[1]), 0, mb * (bt[0] + p * bt[1])],
            [mu * up[1] + mb * bp[1], mu * ut[1], mb * bt[1]],
        ])
        r = np.array([-qu, -qb + burn * (uu + p * vu - ub - p * vb), dv - burn * (vb - vu)])
        dp, du, db = np.linalg.solve(a, r)
        return [dp, du, db, -burn, burn]

    y = np.array([case[k] for k in ("p1", "tu", "tb", "mu", "mb")])
    pick = theta >= case["from1"]
    sol = solve_ivp(f, (case["from1"], case["to"]), y, method="DOP853", rtol=1e-9,
                    atol=1e-10 * np.array([1e5, 300, 1000, y[3], y[3]]), t_eval=theta[pick])
    if not sol.success:
        raise RuntimeError(sol.message)
    out[pick] = sol.y[0]
    return {"p": out[pick].tolist()}


def run(case):
    g, w, c = case["geometry"], case["wall"], Charge(case["fuel"], case["lambda"])
    r, l, d = g["stroke"] / 2, g["rod"], g["offset"]
    area = math.pi * g["bore"] ** 2 / 4
    top, low = math.sqrt((l + r) ** 2 - d**2), math.sqrt((l - r) ** 2 - d**2)
    swept = area * (top - low)
    clearance = swept / (g["ratio"] - 1)
    phi0 = math.asin(d / (l + r))
    speed = (top - low) * case["speed"] / math.pi

    def volume(th):
        ph = th + phi0
        q = r * math.sin(ph) - d
        root = math.sqrt(l * l - q * q)
        x = top - r * math.cos(ph) - root
        return clearance + area * x, area * (r * math.sin(ph) + q * r * math.cos(ph) / root), x

    def burn(th):
        tau = (th - case["start"]) / case["span"]
        return 0.0 if tau <= 0 else 1 - math.exp(-case["a"] * tau ** (case["m"] + 1))

    def burned(th):
        return case["residual"] + (1 - case["residual"]) * case["efficiency"] * burn(th)

    mass = case["mass"]
    guess = {"t": case["t"], "p": case["p"]}

    def state(th, energy):
        """T and p of internal energy, at the volume of th."""
        vol = volume(th)[0]
        b = burned(th)

        def pressure(t):
            p = guess["p"]
            for _ in range(60):
                v = c.uv(t, p, b, case["freeze"], case["width"])[1]
                new = p * v * mass / vol
                if abs(new - p) < 1e-13 * p:
                    return new
                p = new
            raise RuntimeError("no pressure")

        def off(t):
            return c.uv(t, pressure(t), b, case["freeze"], case["width"])[0] - energy / mass

        t0, t1 = guess["t"], guess["t"] * 1.0001
        f0 = off(t0)
        for _ in range(40):
            f1 = off(t1)
            if f1 == f0 or abs(t1 - t0) < 1e-12 * t1:
                break
            t0, t1, f0 = t1, t1 - f1 * (t1 - t0) / (f1 - f0), f1
        else:
            t1 = brentq(off, 250, 3500, xtol=1e-10)
        guess["t"], guess["p"] = t1, pressure(t1)
        return t1, guess["p"]

    v_ref = volume(case["from"])[0]

    def walls(th):
        x = volume(th)[2]
        return area * g["head"], area * g["piston"], math.pi * g["bore"] * (x + clearance / area)

    def coefficient(th, t, p, firing):
        vol = volume(th)[0]
        if w["law"] == "woschni":
            gas = 2.28 * speed
            if firing:
                motored = case["p"] * (v_ref / vol) ** 1.33
                gas += 3.24e-3 * swept * case["t"] / (case["p"] * v_ref) * (p - motored)
            return w["factor"] * 3.26 * g["bore"] ** -0.2 * (p / 1e3) ** 0.8 * t**-0.55 * max(gas, 0) ** 0.8
        if w["law"] == "hohenberg":
            return w["factor"] * 130 * vol**-0.06 * (p / 1e5) ** 0.8 * t**-0.4 * (speed + 1.4) ** 0.8
        raise ValueError(w["law"])

    def heat(th, t, p, firing):
        lost = sum(a * (t - w[k]) for a, k in zip(walls(th), ("head", "piston", "liner")))
        return coefficient(th, t, p, firing) * lost / case["speed"]

    def heat_coefficient(th, t, p):
        """Coefficient times area over speed, and the mean wall temperature."""
        a = walls(th)
        mean = sum(x * w[k] for x, k in zip(a, ("head", "piston", "liner"))) / sum(a)
        return coefficient(th, t, p, True) * sum(a) / case["speed"], mean

    def rhs(firing):
        def f(th, y):
            t, p = state(th, y[0])
            return [-p * volume(th)[1] - heat(th, t, p, firing)]
        return f

    theta = np.array(case["theta"])
    out = np.empty(len(theta))
    if "mu" in case:
        return two_zones(case, c, volume, heat_coefficient, theta, out)
    y = np.array([mass * c.uv(case["t"], case["p"], case["residual"], case["freeze"], case["width"])[0]])
    for lo, hi, firing in ((case["from"], case["start"], False), (case["start"], case["to"], True)):
        pick = (theta >= lo) & (theta <= hi)
        grid = np.append(theta[pick], hi)
        sol = solve_ivp(rhs(firing), (lo, hi), y, method="DOP853", rtol=1e-10, atol=1e-9 * case["scale"] * 1e-1, t_eval=np.unique(grid))
        if not sol.success:
            raise RuntimeError(sol.message)
        at = dict(zip(sol.t, sol.y[0]))
        for i in np.flatnonzero(pick):
            out[i] = state(theta[i], at[theta[i]])[1]
        y = np.array([sol.y[0][-1]])
    return {"p": out.tolist()}


json.dump(run(json.load(sys.stdin)), sys.stdout)
