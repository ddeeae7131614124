"""How long a million three-byte records take to decode with their meaning, beside scapy's dissection.

scapy splits the same bytes into its trouble-code fields and knows no meaning; ours ends in a line of text for
each record. Two kinds of data: a log in which 400 codes repeat, and bytes drawn at random, where nearly no
record repeats. scapy dissects a share of the records; its time is per record, so the ratio does not suffer.
"""

from __future__ import annotations

import random
import time

from scapy.contrib.automotive.uds import DTC

from dtctriage.codes.bulk import RECORD, decode_many

RECORDS = 1_000_000
SCAPY_SHARE = 20_000
DIFFERENT = 400


def ours(data: bytes) -> float:
    """Seconds a record until each has its text."""
    begun = time.perf_counter()
    texts = [told.text for told in decode_many(data).meanings]
    took = time.perf_counter() - begun
    if len(texts) != RECORDS:
        raise RuntimeError("not every record was decoded")
    return took / RECORDS


def scapys(data: bytes) -> float:
    """Seconds a record for the dissection alone."""
    records = [data[at : at + RECORD] for at in range(0, SCAPY_SHARE * RECORD, RECORD)]
    begun = time.perf_counter()
    for record in records:
        DTC(record)
    return (time.perf_counter() - begun) / SCAPY_SHARE


def rows() -> list[dict[str, object]]:
    """One row for each kind of data: microseconds a record, ours and scapy's, and how many times faster."""
    draw = random.Random(1)
    pool = [draw.randbytes(RECORD) for _ in range(DIFFERENT)]
    kinds = {
        f"a log with {DIFFERENT} codes": b"".join(draw.choices(pool, k=RECORDS)),
        "bytes drawn at random": draw.randbytes(RECORDS * RECORD),
    }
    found: list[dict[str, object]] = []
    for kind, data in kinds.items():
        foreign, own = scapys(data), ours(data)
        found.append(
            {
                "what": kind,
                "ours, us": round(own * 1e6, 3),
                "scapy, us": round(foreign * 1e6, 2),
                "times faster": round(foreign / own, 1),
            }
        )
    return found


if __name__ == "__main__":
    for row in rows():
        print(row)
