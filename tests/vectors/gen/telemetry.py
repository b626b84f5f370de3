"""Literal frames of the telemetry, byte by byte: CRC-32 by Python's zlib, COBS by the package cobs, the message's encoding
(varints, zigzag, lengths before lists) written out here.

python3 tests/vectors/gen/telemetry.py tests/vectors
"""

import json
import sys
import zlib

from cobs import cobs


def varint(n):
    out = bytearray()
    while n >= 0x80:
        out.append(n & 0x7F | 0x80)
        n >>= 7
    out.append(n)
    return bytes(out)


def signed(n, bits=64):
    return varint(((n << 1) ^ (n >> (bits - 1))) & ((1 << bits) - 1))


def listed(items):
    return varint(len(items)) + b"".join(items)


def text(words):
    return listed([bytes([b]) for b in words.encode()])


MESSAGES = {
    "settings": varint(0)
    + text("vault-two-bridge")
    + varint(800_000_000)
    + varint(80_000)
    + listed([bytes([0]), bytes([5])])
    + bytes([2])
    + varint(0x9D3A11C5)
    + varint(3),
    "reading": varint(1)
    + signed(1_234_567)
    + listed([signed(-1_500_000_000), signed(25_000_000_000_000)])
    + listed([signed(-(2**40)), signed(0)])
    + signed(12_345)
    + signed(1 << 58)
    + varint(0)
    + varint(0),
    "reading_with_faults": varint(1)
    + signed(-80_001)
    + listed([signed(-(2**63)), signed(2**63 - 1)])
    + listed([signed(0), signed(-1)])
    + signed(0)
    + signed(0)
    + varint(0x8000_0001)
    + varint(0b1000_0100_0011),
    "counts": varint(2)
    + varint(864_000)
    + listed([varint(n) for n in (0, 1, 2, 3, 4, 5, 10, 0, 0, 0, 0, 2**40)])
    + varint(1)
    + varint(2),
    "gap": varint(3) + varint(4_000_000) + varint(4_004_096),
    "time_mark": varint(4) + varint(61) + varint(48_800_123) + varint(0x8001),
    "start": varint(5) + varint(0),
    "stop": varint(5) + varint(1),
    "mark": varint(5) + varint(2) + varint(77),
    "injection": varint(5) + varint(3) + varint(500_000),
    "calibration": varint(5) + varint(4) + bytes([0, 2]) + listed([bytes([b]) for b in b"\x00\x00a0\x00"]),
    "answer": varint(6) + varint(9) + varint(48_800_200) + varint(0),
}
# What each version added.
ADDED = {
    1: MESSAGES,
    2: {
        "acquisition": varint(7) + varint(48_880_000) + varint(0b1_0000_0101) + varint(0b11),
        "counts_of_thirteen": varint(2)
        + varint(864_000)
        + listed([varint(n) for n in (0, 1, 2, 3, 4, 5, 10, 0, 0, 0, 0, 2**40, 7)])
        + varint(1)
        + varint(2),
    },
}
NUMBERS = (0, 1, 255, 256, 65535, 2**24, 2**32 - 1, 7, 8, 9, 10, 11)


def wire(version, number, message):
    raw = bytes([version, 6 + len(message)]) + number.to_bytes(4, "little") + message
    coded = cobs.encode(raw)
    sum = zlib.crc32(coded)
    check = bytes(0x80 | (sum >> 7 * n) & 0x7F for n in range(5))
    return coded + check + b"\0"


if __name__ == "__main__":
    messages = {}
    for version, added in ADDED.items():
        messages |= added
        numbered = zip((*NUMBERS, *range(12, 99)), messages.items())
        told = [
            {"name": name, "number": number, "wire": wire(version, number, message).hex()}
            for number, (name, message) in numbered
        ]
        with open(f"{sys.argv[1]}/telemetry_{version}.json", "w") as file:
            json.dump(told, file, indent=1)
            file.write("\n")
