"""Frames and sample batches of the wire page, made without the project's code.

CRC by the package crccheck 1.3.1, COBS by the package cobs 1.2.2, packing by the rules of
firmware-core/WIRE.md in plain Python. Run here: python3 link_vectors.py (Python 3.11 or later).
Writes frames.csv (version, talk, sender, sequence, message, frame; bytes in hex) and batches.csv (points as
position:duty:current:target, packed bytes in hex).
"""

import csv
import random

from cobs import cobs
from crccheck.crc import Crc16Ibm3740

random.seed(1999)  # the year of the COBS paper; any number does


def frame(version, talk, sender, sequence, message):
    talk |= 0x8000 if sender == "board" else 0
    content = bytes([version]) + talk.to_bytes(2, "little") + sequence.to_bytes(2, "little") + message
    content += Crc16Ibm3740.calc(content).to_bytes(2, "little")
    return b"\0" + cobs.encode(content) + b"\0"


def packed(points):
    out = bytearray()
    for channel in zip(*points):
        differences = [((b - a + 32768) % 65536) - 32768 for a, b in zip(channel, channel[1:])]
        codes = [2 * d if d >= 0 else -2 * d - 1 for d in differences]
        width = max((code.bit_length() for code in codes), default=0)
        bits = sum(code << (width * n) for n, code in enumerate(codes))
        out += channel[0].to_bytes(2, "little", signed=True) + bytes([width])
        out += bits.to_bytes((width * len(codes) + 7) // 8, "little")
    return bytes(out)


def walk(count, step):
    """Points that wander by at most `step`, as far as 16 bits go."""
    at = [random.randint(-9000, 9000) for _ in range(4)]
    points = []
    for _ in range(count):
        points.append(tuple(at))
        at = [max(-32768, min(32767, a + random.randint(-step, step))) for a in at]
    return points


with open("frames.csv", "w", newline="") as file:
    rows = csv.writer(file, lineterminator="\n")
    rows.writerow(["version", "talk", "sender", "sequence", "message", "frame"])
    messages = [b"", b"\0", b"\0" * 247, b"\x01" * 247, bytes(range(1, 248)), b"123456789"]
    messages += [random.randbytes(random.randint(1, 247)) for _ in range(24)]
    for message in messages:
        head = [random.randint(0, 255), random.randint(0, 32767), random.choice(["host", "board"]), random.randint(0, 65535)]
        rows.writerow(head + [message.hex(), frame(*head, message).hex()])

with open("batches.csv", "w", newline="") as file:
    rows = csv.writer(file, lineterminator="\n")
    rows.writerow(["points", "packed"])
    for count, step in [(1, 0), (2, 1), (32, 0), (32, 3), (31, 60), (32, 300), (17, 5000), (13, 65535), (16, 65535)]:
        points = walk(count, step)
        text = " ".join(":".join(map(str, point)) for point in points)
        rows.writerow([text, packed(points).hex()])
