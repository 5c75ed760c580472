#!/usr/bin/env python3
"""An outside reader: the highest sample of the window, with the parabola through
its neighbours. Python's standard library only.

One JSON object a line on stdin: a header, then a cycle each. One JSON object a
line on stdout: its answer.
"""

import json
import sys


def read(angles, values, lo, hi):
    """Angle of the highest of values[lo:hi] (deg), or None where it is at an edge."""
    k = max(range(lo, hi), key=lambda i: values[i])
    if k == lo or k == hi - 1:
        return None
    left, top, right = values[k - 1], values[k], values[k + 1]
    bend = left - 2 * top + right
    shift = 0.5 * (left - right) / bend if bend else 0.0
    return angles[k] + shift * (angles[k + 1] - angles[k])


def main():
    header = json.loads(sys.stdin.readline())
    if header["version"] != 1:
        sys.exit(f"version {header['version']}, want 1")
    angles = header["angles_deg_atdc"]
    for line in sys.stdin:
        cycle = json.loads(line)
        blanked = cycle["speed_rpm"] * 6e-3 * header["blank_ms"] - cycle["spark_deg_btdc"]
        start = header["from_deg"] if header["blank_ms"] == 0 else max(header["from_deg"], blanked)
        inside = [i for i, a in enumerate(angles) if start <= a < header["to_deg"]]
        angle = read(angles, cycle["values"], inside[0], inside[-1] + 1) if len(inside) > 2 else None
        why = "" if angle is not None else "no peak in the window"
        print(json.dumps({"angle_deg_atdc": angle, "quality": 0.0 if angle is None else 0.5, "why": why}), flush=True)


if __name__ == "__main__":
    main()
