"""How a module says no."""

from __future__ import annotations

from collections.abc import Callable
from enum import IntEnum
from typing import TypeVar

from dtctriage.services.errors import DecodeError


class Nrc(IntEnum):
    """The negative response codes that the classroom's modules give (ISO 14229-1 Annex A)."""

    SERVICE_NOT_SUPPORTED = 0x11
    SUB_FUNCTION_NOT_SUPPORTED = 0x12
    WRONG_LENGTH = 0x13
    CONDITIONS_NOT_CORRECT = 0x22
    REQUEST_OUT_OF_RANGE = 0x31
    RESPONSE_PENDING = 0x78


NEVER_TO_ALL = frozenset(
    {Nrc.SERVICE_NOT_SUPPORTED, Nrc.SUB_FUNCTION_NOT_SUPPORTED, Nrc.REQUEST_OUT_OF_RANGE}
)
"""Reasons that stay unsaid when the request went to all modules (ISO 14229-1, 7.5)."""


class Refused(Exception):
    """The request is answered by 7F, the service and this code."""

    def __init__(self, code: Nrc) -> None:
        super().__init__(code.name)
        self.code = code


_Request = TypeVar("_Request")


def understood(payload: bytes, decode: Callable[[], _Request], sub_function: bool = False) -> _Request:
    """What `decode` makes of a request. Raises Refused where it makes nothing of it.

    `sub_function`: the second byte is one, and a module says so when it is that which it does not know.
    """
    try:
        return decode()
    except DecodeError as error:
        unknown = sub_function and error.offset == 1 < len(payload)
        raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED if unknown else Nrc.WRONG_LENGTH) from error
