"""Solving on one thread: of many small matrices, threads inside BLAS cost several times what they save."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Any

from threadpoolctl import threadpool_limits


def one_thread() -> AbstractContextManager[Any]:
    """While it is open, BLAS keeps to one thread."""
    limits: AbstractContextManager[Any] = threadpool_limits(limits=1, user_api="blas")  # type: ignore[no-untyped-call]
    return limits
