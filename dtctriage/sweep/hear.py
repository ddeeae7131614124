"""How an answer becomes part of what its module said. Nothing here fails but with a DecodeError."""

from __future__ import annotations

from collections.abc import Callable

from dtctriage.services import obd_on_uds
from dtctriage.services.errors import DecodeError
from dtctriage.services.identification import IDENTIFICATION, SESSION_DID, VIN_DID, identification_text
from dtctriage.services.j1979_codes import CodeKind, decode_codes
from dtctriage.services.j1979_data import CurrentData, decode_current_data, decode_freeze_frame
from dtctriage.services.j1979_info import (
    IN_USE_COMPRESSION,
    IN_USE_SPARK,
    Info,
    InfoItems,
    InfoMask,
    InfoPart,
    RawInfo,
    counter_name,
    decode_info,
)
from dtctriage.services.j1979_tests import MonitorMasks, MonitorResults, decode_monitor_tests
from dtctriage.services.j1979_tests_legacy import (
    OneLimitMask,
    OxygenTestMask,
    decode_one_limit_test,
    decode_oxygen_test,
)
from dtctriage.services.kwp import decode_kwp_codes, decode_kwp_plain_codes, decode_kwp_status
from dtctriage.services.kwp_data import decode_identification
from dtctriage.services.message import ascii_text
from dtctriage.services.pids import signals
from dtctriage.services.readiness import Readiness
from dtctriage.services.supported import BLOCK
from dtctriage.services.uds import decode_data, did_name
from dtctriage.sweep import questions as q
from dtctriage.sweep.hear_reports import hear_report
from dtctriage.sweep.said import ModuleSaid, StoredCode
from dtctriage.vin import is_placeholder

POSITIVE = 0x40
"""What a positive answer adds to the service id."""


def hear(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    """Take a positive answer to `asked`. Raises DecodeError for one that is not what its standard says."""
    if not payload or not asked:
        raise DecodeError("nothing was asked or answered", payload, 0)
    if payload[0] != asked[0] + POSITIVE:
        raise DecodeError(f"not an answer to service {asked[0]:02X}", payload, 0)
    handler = _BY_SERVICE.get(payload[0])
    if handler is not None:
        handler(module, asked, payload)


def keep_info(module: ModuleSaid, item: Info) -> None:
    """Take a whole item of service 09, or of the F8 page."""
    if isinstance(item, RawInfo):
        module.info[item.type] = (item.data,)
    if not isinstance(item, InfoItems):
        return
    module.info[item.type] = item.items
    if item.type in (IN_USE_SPARK, IN_USE_COMPRESSION):
        module.counters |= {counter_name(item.type, n): number for n, number in enumerate(item.numbers)}
    elif item.type in q.OBD_INFO:
        _keep_identity(module, item)


def _keep_identity(module: ModuleSaid, item: InfoItems) -> None:
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
        if item.pid % BLOCK == 0:
            module.masks[item.pid] = item.data
        elif item.pid == 0x01:
            module.readiness = Readiness(item.data) if item.data.strip(b"\xff") else None
        else:
            module.data[item.pid] = item.data
            if item.pid == q.MODULE_VOLTAGE_PID:
                _keep_volts(module, item.data)


def _keep_volts(module: ModuleSaid, data: bytes) -> None:
    """FF throughout is no voltage."""
    (signal,) = signals(q.MODULE_VOLTAGE_PID)
    found = signal.trusted(data)
    module.volts = None if found is None else found.value


def _frame(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    for entry in decode_freeze_frame(payload, module.target.framing.is_can, asked[1::2]).items:
        pid, data = entry.item.pid, entry.item.data
        if pid % BLOCK:
            module.frames.setdefault(entry.frame, {})[pid] = data
        elif entry.frame == 0:
            module.frame_masks[pid] = data


def _codes(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    answer = decode_codes(payload, module.target.framing.is_can)
    memory = CodeKind(payload[0] - 0x40).name.lower()
    module.codes += [StoredCode(dtc, memory) for dtc in answer.codes]
    module.codes_read = True


def _info(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    item = decode_info(payload, module.target.framing.is_can)
    if isinstance(item, InfoMask):
        module.info_masks[item.block] = item.mask
    elif isinstance(item, InfoPart) and item.type % BLOCK == 0:
        module.info_masks[item.type] = item.data
    elif isinstance(item, InfoPart):
        module.info_parts.setdefault(item.type, []).append(item)
    else:
        keep_info(module, item)


def _tests(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    if module.target.framing.is_can:
        number = asked[1] if len(asked) == 2 and asked[1] % BLOCK else None
        _keep_tests(module, decode_monitor_tests(payload, number))
        return
    answer = decode_one_limit_test(payload)
    if isinstance(answer, OneLimitMask):
        module.test_masks[answer.block] = answer.mask
    else:
        module.keep_result(answer)


def _keep_tests(module: ModuleSaid, answer: MonitorMasks | MonitorResults) -> None:
    if isinstance(answer, MonitorMasks):
        module.test_masks |= answer.masks
    else:
        for result in answer.results:
            module.keep_result(result)


def _oxygen(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    answer = decode_oxygen_test(payload)
    if isinstance(answer, OxygenTestMask):
        module.oxygen_masks[answer.sensor] = answer.mask
    else:
        module.keep_result(answer)


# -- UDS ------------------------------------------------------------------------------------------------


def _data(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    dids = list(q.identifiers_of(asked))
    did = dids[0] if dids else 0
    page = did & 0xFF00
    if page == obd_on_uds.PID_PAGE:
        _keep_data(module, obd_on_uds.decode_current_data(payload, [each & 0xFF for each in dids]))
    elif did == obd_on_uds.PROTOCOL_DID:
        if obd_on_uds.speaks_obd_on_uds(payload):
            module.languages.add(q.Language.OBD_ON_UDS)
    elif page == obd_on_uds.INFO_PAGE:
        info = obd_on_uds.decode_info(payload)
        if isinstance(info, InfoMask):
            module.info_masks[info.block] = info.mask
        else:
            keep_info(module, info)
    elif page == obd_on_uds.MONITOR_PAGE:
        _keep_tests(module, obd_on_uds.decode_monitor_tests(payload))
    else:
        answer = decode_data(payload, dids, module.definitions.identifier_lengths)
        for each, data in answer.items:
            _keep_identifier(module, each, data)


def _keep_identifier(module: ModuleSaid, did: int, data: bytes) -> None:
    module.identifiers[did] = data
    text = identification_text(did, data)
    if did == VIN_DID:
        _keep_vin(module, "identifier F190", text)
    elif text and did in IDENTIFICATION and did != SESSION_DID:
        module.identity[q.UDS_IDENTIFICATION.get(did) or did_name(did)] = text


# -- KWP2000 --------------------------------------------------------------------------------------------


def _kwp_codes(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    for record in decode_kwp_codes(payload).records:
        if not record.dtc.is_padding:
            module.codes.append(StoredCode(record.dtc, "stored", record.status))
    module.codes_read = True


def _kwp_plain_codes(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    module.codes += [StoredCode(dtc, "stored") for dtc in decode_kwp_plain_codes(payload).codes]
    module.codes_read = True


def _kwp_status(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    """The status of a code heard before without one."""
    dtc, status = decode_kwp_status(payload).record
    known = StoredCode(dtc, "stored")
    if known in module.codes:
        module.codes[module.codes.index(known)] = StoredCode(dtc, "stored", status)


def _kwp_identification(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    answer = decode_identification(payload, asked[1] if len(asked) > 1 else None)
    module.options[answer.option] = answer.data
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
    0x45: _oxygen,
    0x46: _tests,
    0x47: _codes,
    0x49: _info,
    0x4A: _codes,
    0x53: _kwp_plain_codes,
    0x57: _kwp_status,
    0x58: _kwp_codes,
    0x59: hear_report,
    0x5A: _kwp_identification,
    0x62: _data,
}
"""What to do with a positive answer, by its service id."""
