"""Values of current data against Wireshark's OBD-II dissector (tshark 4.0 or later), over ISO-TP frames."""

from __future__ import annotations

import json
import os
import shutil
import struct
import subprocess
from pathlib import Path

import pytest

from dtctriage.services.j1979_data import CurrentData, PidData
from dtctriage.services.pids import Quantity, data_lengths, readings, signals

pytestmark = pytest.mark.full

LINKTYPE_CAN_SOCKETCAN = 227
UNKNOWN_TO_TSHARK = {*range(0x4F, 0x51), *range(0x54, 0x59)}
LAST_PID = 0x63
"""Later PIDs are unknown to the dissector of tshark 4.0."""
FUEL_RATE_NOT_VALID = bytes.fromhex("415EFFFF")
"""Above FAFF: no valid data here, 3276.75 L/h there (OBDB: the published maximum is 3212.75)."""


def capture(payloads: list[bytes]) -> bytes:
    """A pcap file of single frames from 7E8."""
    out = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, LINKTYPE_CAN_SOCKETCAN)
    for second, payload in enumerate(payloads):
        frame = struct.pack(">IB3x", 0x7E8, 8) + bytes([len(payload)]) + payload.ljust(7, b"\x00")
        out += struct.pack("<IIII", second, 0, len(frame), len(frame)) + frame
    return out


def dissect(path: Path) -> list[dict[str, str]]:
    """The dissector's fields of each packet. Where tshark is missing the test is skipped, in CI it fails."""
    if shutil.which("tshark") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("tshark is not installed")
        pytest.skip("tshark is not installed")
    command = ["tshark", "-r", str(path), "-T", "json", "-J", "obd-ii"]
    command += ["-d", "can.subdissector,iso15765", "-d", "iso15765.subdissector,obd-ii"]
    found = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    return [packet["_source"]["layers"].get("obd-ii", {}) for packet in found]


def test_scaled_values_agree(tmp_path: Path) -> None:
    pids = [pid for pid in range(1, LAST_PID + 1) if signals(pid) and pid not in UNKNOWN_TO_TSHARK]
    payloads = [
        CurrentData((PidData(pid, bytes([byte] * data_lengths(pid)[0])),)).encode()
        for pid in pids
        for byte in (0x00, 0x01, 0x5A, 0x7F, 0x80, 0xFF)
    ]
    file = tmp_path / "current_data.pcap"
    file.write_bytes(capture(payloads))
    for payload, fields in zip(payloads, dissect(file), strict=True):
        told = [
            float(value)
            for name, value in fields.items()
            if name.startswith("obd-ii.mode01") and not name.endswith(("_pid", "_sensor_id"))
        ]
        ours = [item.value for item in readings(payload[1], payload[2:]) if isinstance(item, Quantity)]
        if payload == FUEL_RATE_NOT_VALID:
            assert (ours, told) == ([], [3276.75])
            continue
        assert told, payload.hex()
        assert ours[: len(told)] == pytest.approx(told), payload.hex()
