"""Make recordings whose truth is known, apart from the Go code of this project.

    python3 make.py OUT [KEY=VALUE ...]

A four-stroke single's pressure by hand: polytropes, a cosine burn, open valves at
constant pressure; a tooth wheel sampled in time; everything in volts. Nothing of it is
measured. The truth goes to OUT.truth.json.

  wheel     teeth of a turn; one edge more stands midway after the reference (60)
  kind      doubled | missing | pulse: what marks the reference (doubled)
  speed     rpm (3000);  drift: rpm more at the end than at the start (0)
  ripple    of the speed, share, twice a turn (0.01)
  cycles    whole cycles (40);  motored: the first so many are not fired (0)
  first     angle of the reference after firing dead centre, deg (-113.4)
  rate      samples a second (100000)
  noise     of the pressure, bar (0.05);  wheelnoise: of the wheel, V (0.1)
  slope     bar a volt (10);  zero: volts at 0 bar (0.3)
  drop      number of the tooth, counted over the whole recording, that is not seen (-1)
  header    1: a header and a column of time (0)
  order     pw | wp: which column is first (pw)
  stroke    4 | 2: 2 fires every turn (4)
  spark     where the burn begins, deg after dead centre (-10)
  peak      how hot it burns: share of pressure added (2.2)
  seed      of the noise (1)
"""
import json
import sys

import numpy as np

DEFAULT = dict(wheel=60, kind="doubled", speed=3000.0, drift=0.0, ripple=0.01, cycles=40, motored=0, first=-113.4,
               rate=100000.0, noise=0.05, wheelnoise=0.1, slope=10.0, zero=0.3, drop=-1, header=0, order="pw",
               stroke=4, spark=-10.0, peak=2.2, seed=1)

BORE, STROKE, ROD, RATIO = 88.0, 82.0, 136.0, 8.8   # mm, the pump set's


def volume(theta):
    """Over the clearance volume; theta in deg after dead centre."""
    r, t = STROKE / 2, np.radians(theta)
    s = r * np.cos(t) + np.sqrt(ROD**2 - (r * np.sin(t)) ** 2)
    return 1 + (RATIO - 1) * (r + ROD - s) / STROKE


def pressure(theta, spark, rise, stroke):
    """bar, at theta in deg, -360..360 (four-stroke) or -180..180 (two)."""
    inlet, exhaust, n, m = 0.8, 1.05, 1.32, 1.28
    v = volume(theta)
    shut, opens = -140.0, 130.0
    motored = inlet * (volume(shut) / v) ** n
    x = np.clip((theta - spark) / 55.0, 0, 1)
    burned = (1 - np.cos(np.pi * x)) / 2
    fired = motored * (1 + rise * burned) * np.where(theta > spark, v ** (n - m), 1)
    at_opening = inlet * (volume(shut) / volume(opens)) ** n * (1 + rise) * volume(opens) ** (n - m)
    p = np.where(theta < shut, inlet, np.where(theta < opens, fired, exhaust))
    blow = (theta >= opens) & (theta < opens + 60)
    p = np.where(blow, exhaust + (at_opening - exhaust) * np.exp(-(theta - opens) / 12), p)
    if stroke == 4:
        back = theta < -340    # the exhaust valve is still open
        p = np.where(back, exhaust + (inlet - exhaust) * (theta + 360) / 20, p)
    return p


def main():
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    out, a = sys.argv[1], dict(DEFAULT)
    for word in sys.argv[2:]:
        key, value = word.split("=", 1)
        a[key] = type(DEFAULT[key])(value)
    rng = np.random.default_rng(a["seed"])
    period = 720.0 if a["stroke"] == 4 else 360.0

    # The angle over time: a drifting speed with ripple, by steps of a microsecond or so.
    # The recording begins 200 deg after the start of a cycle and ends 90 deg past one.
    begin, end = 200.0 - 360.0, -360.0 + 720.0 * (a["cycles"] + 1) + 90.0
    grid = np.arange(begin, end + 1, 0.05)
    share = (grid - begin) / (end - begin)
    speed = (a["speed"] + a["drift"] * share) * (1 + a["ripple"] * np.cos(np.radians(2 * grid)))
    time = np.concatenate([[0], np.cumsum(np.diff(grid) / (6 * (speed[1:] + speed[:-1]) / 2))])
    t = np.arange(0, time[-1], 1 / a["rate"])
    theta = np.interp(t, time, grid)

    number = np.floor((theta + 360) / 720).astype(int)
    inside = np.mod(theta + period / 2, period) - period / 2
    fired = number >= a["motored"]
    scatter = rng.normal(1, 0.05, number.max() + 2)
    late = rng.normal(0, 2.0, number.max() + 2)
    rise = np.where(fired, a["peak"] * scatter[number], 0)
    p = pressure(inside, a["spark"] + late[number], rise, a["stroke"])
    volts = (p + rng.normal(0, a["noise"], len(p))) / a["slope"] + a["zero"]

    # The wheel: high for a quarter of a pitch from each edge on.
    pitch = 360.0 / a["wheel"]
    after = theta - a["first"]
    tooth = np.floor(after / pitch).astype(int)
    place = after - tooth * pitch
    place_in_turn = np.mod(tooth, a["wheel"])
    high = place < pitch / 4
    if a["kind"] == "doubled":
        high |= (place_in_turn == 0) & (place >= pitch / 2) & (place < pitch * 3 / 4)
    elif a["kind"] == "missing":
        high &= place_in_turn < a["wheel"] - 2
    else:
        high = (place_in_turn == 0) & (place < pitch / 2)
    if a["drop"] >= 0:
        high &= tooth - tooth[0] != a["drop"]
    wheel = np.where(high, 4.8, 0.2) + rng.normal(0, a["wheelnoise"], len(t))

    columns = [volts, wheel] if a["order"] == "pw" else [wheel, volts]
    names = ["pressure_v", "wheel_v"] if a["order"] == "pw" else ["wheel_v", "pressure_v"]
    if a["header"]:
        columns, names = [t] + columns, ["time_s"] + names
    with open(out, "w") as f:
        if a["header"]:
            f.write(",".join(names) + "\n")
        np.savetxt(f, np.column_stack(columns), fmt="%.6f", delimiter=",")

    # Truth: whole cycles between the first and the last sample.
    starts = np.arange(-360.0, end, 720.0)
    starts = [s for s in starts if s >= theta[0] and s + 720 <= theta[-1]]
    peaks = []
    fine = np.arange(-40, 90, 0.01)
    for s in starts:
        k = int(round((s + 360) / 720))
        lit = k >= a["motored"]
        q = pressure(fine, a["spark"] + late[k], a["peak"] * scatter[k] if lit else 0, a["stroke"])
        peaks.append(float(fine[np.argmax(q)]))
    first_start = float(np.interp(starts[0], grid, time))
    speeds = [float(720 / 6 / (np.interp(s + 720, grid, time) - np.interp(s, grid, time))) for s in starts]
    with open(out + ".truth.json", "w") as f:
        json.dump(dict(a, whole_cycles=len(starts), lpp_deg_atdc=peaks, first_start_s=first_start, speeds_rpm=speeds), f)


main()
