#!/usr/bin/env python3
"""The integral law of phasebench as another program, by the standard library alone.

  integral.py [GAIN]                 speaks over stdin and stdout
  integral.py [GAIN] --listen PORT   waits for one connection on this machine

It answers both framings, JSON lines and binary frames. The protocol stands in
scenarios/control/outside.go. A model is not your engine: keep hard limits and an
independent cut-off between any such program and a coil.
"""
import json
import math
import socket
import struct
import sys

RATE = 5.0  # most move in a cycle [deg]


def main():
    args = sys.argv[1:]
    stdin, stdout = sys.stdin.buffer, sys.stdout.buffer
    if "--listen" in args:
        at = args.index("--listen")
        with socket.create_server(("127.0.0.1", int(args[at + 1]))) as server:
            peer, _ = server.accept()
        peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        stdin, stdout = peer.makefile("rb"), peer.makefile("wb")
        del args[at:at + 2]
    gain = float(args[0]) if args else 0.1

    hello = json.loads(stdin.readline())
    if hello["version"] != 1 or hello["sees"] != "reading":
        sys.exit("integral.py: want version 1 and readings")
    say(stdout, json.dumps({"version": 1, "name": "integral in Python"}).encode() + b"\n")
    if hello["framing"] == "json":
        for line in stdin:
            seen = json.loads(line)
            spark = law(gain, seen["ordered_deg_btdc"], seen["read_deg_atdc"], seen["target_deg_atdc"])
            say(stdout, json.dumps({"spark_deg_btdc": spark}).encode() + b"\n")
        return
    fields = hello["fields"]
    ordered, read, target = (fields.index(k) for k in ("ordered_deg_btdc", "read_deg_atdc", "target_deg_atdc"))
    frame = struct.Struct("<I%dd" % len(fields))
    while True:
        size = stdin.read(4)
        if len(size) < 4:
            return
        body = stdin.read(struct.unpack("<I", size)[0])
        values = frame.unpack_from(body)[1:]
        angle = None if math.isnan(values[read]) else values[read]
        say(stdout, struct.pack("<dd", law(gain, values[ordered], angle, values[target]), math.nan))


def law(gain, ordered, read, target):
    """The next spark [deg]: a late peak asks for advance; no reading moves nothing."""
    if read is None:
        return ordered
    return ordered + max(-RATE, min(RATE, gain * (read - target)))


def say(stdout, data):
    stdout.write(data)
    stdout.flush()


main()
