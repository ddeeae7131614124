"""What one module said: its answers, decoded into names, codes, readiness, supply and snapshots."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from dtctriage.codes.dtc import Dtc
from dtctriage.link import Target
from dtctriage.services import obd_on_uds
from dtctriage.services.errors import DecodeError
from dtctriage.services.identification import VIN_DID, identification_text, identifier_meaning
from dtctriage.services.j1979_codes import CodeKind, decode_codes
from dtctriage.services.j1979_data import CurrentData, decode_current_data, decode_freeze_frame
from dtctriage.services.j1979_info import InfoItems, InfoPart, decode_info
from dtctriage.services.kwp import KwpStatus, Storage, decode_kwp_codes
from dtctriage.services.kwp_data import decode_identification
from dtctriage.services.message import ascii_text
from dtctriage.services.pids import readings
from dtctriage.services.readiness import Readiness
from dtctriage.services.readings import Quantity
from dtctriage.services.uds import DtcStatus, decode_data
from dtctriage.services.uds_codes import CodeStatus, Report, decode_code_list
from dtctriage.services.uds_extended import decode_extended
from dtctriage.services.uds_snapshots import decode_snapshots
from dtctriage.services.uds_wwh import decode_wwh_codes, decode_wwh_permanent
from dtctriage.sweep import questions as q
from dtctriage.vin import is_placeholder

POSITIVE = 0x40
"""What a positive answer adds to the service id."""


@dataclass(frozen=True, slots=True)
class StoredCode:
    """A code with the memory that held it: stored, pending, permanent; by its status byte if it has one."""

    dtc: Dtc
    memory: str
    status: DtcStatus | KwpStatus | None = None

    @property
    def now(self) -> bool | None:
        """Failing at present; None where no status says so."""
        if isinstance(self.status, KwpStatus):
            return self.status.storage is Storage.PRESENT
        return self.status.failed_now if self.status else None


@dataclass(frozen=True, slots=True)
class Trouble:
    """An answer that was damaged, or is not what its standard says, with its bytes."""

    question: bytes
    text: str
    raw: bytes


@dataclass(slots=True)
class ModuleSaid:
    """One module. `vins`: VINs by the way they were asked for; `refused`: pairs of request and reason.

    `snapshots`: what was stored with a code, by the code's number; `frame`: the freeze frame of service 02,
    whose code is `frame_code`. `masks`: supported PIDs by block, of current data and of the freeze frame.
    """

    target: Target
    source: int
    asked: int = 0
    answered: int = 0
    languages: set[q.Language] = field(default_factory=set)
    vins: dict[str, str] = field(default_factory=dict)
    identity: dict[str, str] = field(default_factory=dict)
    codes: list[StoredCode] = field(default_factory=list)
    codes_read: bool = False
    readiness: Readiness | None = None
    volts: float | None = None
    masks: dict[int, bytes] = field(default_factory=dict)
    info_mask: bytes | None = None
    frame_code: Dtc | None = None
    frame_masks: dict[int, bytes] = field(default_factory=dict)
    frame: list[str] = field(default_factory=list)
    snapshots: dict[int, list[str]] = field(default_factory=dict)
    info_parts: dict[int, list[InfoPart]] = field(default_factory=dict)
    refused: list[tuple[bytes, int]] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)


def hear(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    """Take a positive answer to `asked`. Raises DecodeError for one that is not what its standard says."""
    if not payload or not asked:
        raise DecodeError("nothing was asked or answered", payload, 0)
    if payload[0] != asked[0] + POSITIVE:
        raise DecodeError(f"not an answer to service {asked[0]:02X}", payload, 0)
    handler = _BY_SERVICE.get(payload[0])
    if handler is not None:
        handler(module, asked, payload)


def keep_info(module: ModuleSaid, item: object) -> None:
    """Take an item of service 09, or of the F8 page."""
    if not isinstance(item, InfoItems) or item.type not in q.OBD_INFO:
        return
    name = q.OBD_INFO[item.type]
    if item.type == 0x06:
        module.identity[name] = ", ".join(data.hex().upper() for data in item.items)
        return
    text = ", ".join(text for text in item.texts if text)
    if item.type == 0x02:
        _keep_vin(module, "service 09", text)
    elif text:
        module.identity[name] = text


def _keep_vin(module: ModuleSaid, how: str, text: str) -> None:
    """A placeholder of an unprogrammed module is not a VIN."""
    if is_placeholder(text):
        module.identity["VIN"] = "not programmed"
    else:
        module.vins[how] = text


# -- J1979 ----------------------------------------------------------------------------------------------


def _current(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    _keep_data(module, decode_current_data(payload, module.target.framing.is_can, asked[1:]))


def _keep_data(module: ModuleSaid, answer: CurrentData) -> None:
    for item in answer.items:
        if item.pid % 0x20 == 0:
            module.masks[item.pid] = item.data
        elif item.pid == 0x01:
            module.readiness = Readiness(item.data)
        elif item.pid == q.MODULE_VOLTAGE_PID:
            for reading in readings(item.pid, item.data):
                if isinstance(reading, Quantity):
                    module.volts = reading.value


def _frame(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    for entry in decode_freeze_frame(payload, module.target.framing.is_can, asked[1::2]).items:
        pid, data = entry.item.pid, entry.item.data
        if pid % 0x20 == 0:
            module.frame_masks[pid] = data
        elif pid == q.FRAME_CODE_PID:
            dtc = Dtc.from_bytes(data)
            module.frame_code = None if dtc.is_padding else dtc
        else:
            module.frame += [str(reading) for reading in readings(pid, data)]


def _codes(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    answer = decode_codes(payload, module.target.framing.is_can)
    memory = CodeKind(payload[0] - 0x40).name.lower()
    module.codes += [StoredCode(dtc, memory) for dtc in answer.codes]
    module.codes_read = True


def _info(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    item = decode_info(payload, module.target.framing.is_can)
    if isinstance(item, InfoPart):
        module.info_parts.setdefault(item.type, []).append(item)
    elif asked == q.OBD_INFO_MASK:
        module.info_mask = payload[-4:]
    else:
        keep_info(module, item)


# -- UDS ------------------------------------------------------------------------------------------------


def _data(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    dids = [int.from_bytes(asked[place : place + 2], "big") for place in range(1, len(asked), 2)]
    did = dids[0] if dids else 0
    page = did & 0xFF00
    if page == obd_on_uds.PID_PAGE:
        _keep_data(module, obd_on_uds.decode_current_data(payload, (did & 0xFF,)))
    elif did == obd_on_uds.PROTOCOL_DID:
        if obd_on_uds.speaks_obd_on_uds(payload):
            module.languages.add(q.Language.OBD_ON_UDS)
    elif page == obd_on_uds.INFO_PAGE:
        keep_info(module, obd_on_uds.decode_info(payload))
    else:
        answer = decode_data(payload, asked=dids)
        for each in dids:
            _keep_identifier(module, each, answer.data_of(each) or b"")


def _keep_identifier(module: ModuleSaid, did: int, data: bytes) -> None:
    text = identification_text(did, data)
    if did == VIN_DID:
        _keep_vin(module, "identifier F190", text)
    elif text:
        module.identity[q.UDS_IDENTIFICATION.get(did, f"identifier {did:04X}")] = text


def _report(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    match payload[1] if len(payload) > 1 else None:
        case Report.BY_STATUS:
            _keep_codes(module, decode_code_list(payload).records)
        case Report.WWH_BY_MASK:
            records = decode_wwh_codes(payload).records
            _keep_codes(module, [CodeStatus(record.dtc, record.status) for record in records])
        case Report.WWH_PERMANENT:
            module.codes += [
                StoredCode(record.dtc, "permanent", record.status)
                for record in decode_wwh_permanent(payload).records
            ]
            module.codes_read = True
        case Report.SNAPSHOT_BY_CODE:
            _keep_snapshots(module, payload)
        case Report.EXTENDED_BY_CODE:
            answer = decode_extended(payload)
            lines = [f"extended record {r.number:02X}: {r.data.hex(' ').upper()}" for r in answer.records]
            module.snapshots.setdefault(answer.code.dtc.number, []).extend(lines)
        case _:
            decode_code_list(payload)  # names what is wrong with an answer nobody asked for


def _keep_codes(module: ModuleSaid, records: tuple[CodeStatus, ...] | list[CodeStatus]) -> None:
    module.codes += [StoredCode(record.dtc, _memory(record.status), record.status) for record in records]
    module.codes_read = True


def _memory(status: DtcStatus) -> str:
    """The memory that a status byte speaks of: confirmed codes are stored, the others wait."""
    return "stored" if status.confirmed or status.confirmed is None else "pending"


def _keep_snapshots(module: ModuleSaid, payload: bytes) -> None:
    answer = decode_snapshots(payload)
    for record in answer.records:
        lines = [_snapshot_line(item.did, item.data) for item in record.items]
        module.snapshots.setdefault(answer.code.dtc.number, []).extend(lines)


def _snapshot_line(did: int, data: bytes) -> str:
    if did & 0xFF00 == obd_on_uds.PID_PAGE:
        return identifier_meaning(did, data)
    return f"{did:04X}: {data.hex(' ').upper()}"


# -- KWP2000 --------------------------------------------------------------------------------------------


def _kwp_codes(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    for record in decode_kwp_codes(payload).records:
        if not record.dtc.is_padding:
            module.codes.append(StoredCode(record.dtc, "stored", record.status))
    module.codes_read = True


def _kwp_identification(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    answer = decode_identification(payload, asked[1] if len(asked) > 1 else None)
    try:
        text = ascii_text(answer.data) or ""
    except ValueError:
        text = answer.data.hex(" ").upper()
    if answer.option == q.KWP_VIN:
        _keep_vin(module, "identification 90", text)
    elif text:
        name = q.KWP_IDENTIFICATION.get(answer.option, f"identification {answer.option:02X}")
        module.identity[name] = text


_BY_SERVICE: dict[int, Callable[[ModuleSaid, bytes, bytes], None]] = {
    0x41: _current,
    0x42: _frame,
    0x43: _codes,
    0x47: _codes,
    0x49: _info,
    0x4A: _codes,
    0x58: _kwp_codes,
    0x59: _report,
    0x5A: _kwp_identification,
    0x62: _data,
}
"""What to do with a positive answer, by its service id."""
