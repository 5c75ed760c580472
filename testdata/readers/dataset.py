"""Reads one part of a dataset with NumPy, SciPy and the csv module of Python and
prints it as JSON: dataset.py npz|mat|wav|csv FILE. Numbers keep all their digits;
NaN and infinities are words."""

import csv
import json
import math
import sys

import numpy
import scipy.io
import scipy.io.wavfile


def plain(v):
    """Turns an array into lists of numbers."""
    if isinstance(v, (list, tuple)):
        return [plain(x) for x in v]
    if isinstance(v, float) and not math.isfinite(v):
        return str(v)
    return v


def arrays(items):
    return {
        name: {"type": a.dtype.name, "shape": list(a.shape), "values": plain(a.tolist())}
        for name, a in items
    }


kind, path = sys.argv[1:]
if kind == "npz":
    with numpy.load(path, allow_pickle=False) as z:
        out = arrays((n, z[n]) for n in z.files)
elif kind == "mat":
    m = scipy.io.loadmat(path)
    out = arrays((n, m[n]) for n in m if not n.startswith("__"))
    for n, _, what in scipy.io.whosmat(path):
        out[n]["class"] = what
elif kind == "wav":
    rate, samples = scipy.io.wavfile.read(path)
    out = arrays([("samples", samples.reshape(len(samples), -1))])
    out["rate"] = rate
else:
    with open(path, newline="", encoding="utf-8") as f:
        out = list(csv.reader(f, strict=True))
json.dump(out, sys.stdout)
