"""The simulated vehicle for another program: a text adapter on a TCP port or a pty, or nodes on a CAN bus."""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
from abc import ABC, abstractmethod
from typing import Protocol

from dtctriage.errors import TriageError
from dtctriage_adapters.classroom.clock import KeyClock
from dtctriage_adapters.classroom.text_adapter import TextAdapter

HOST = "127.0.0.1"
IDLE_SECONDS = 0.25
"""The longest wait: how fast a server notices that it is to stop."""
AT_ONCE = 4096


class ServeError(TriageError):
    """The vehicle cannot be shown in this way."""


class Stream(Protocol):
    """One tester's characters. `read` gives b"" when the tester has gone; both may raise OSError."""

    def fileno(self) -> int: ...

    def read(self) -> bytes: ...

    def write(self, data: bytes) -> None: ...


class TextServer(ABC):
    """Something that testers connect to, one at a time."""

    def __init__(self, adapter: TextAdapter, clock: KeyClock) -> None:
        self._adapter = adapter
        self._clock = clock
        self._stop = threading.Event()

    @property
    @abstractmethod
    def url(self) -> str:
        """What a serial link opens."""

    @abstractmethod
    def run(self) -> None:
        """Serve until `stop` is called from another thread."""

    def stop(self) -> None:
        self._stop.set()

    @abstractmethod
    def close(self) -> None:
        """Give the port back. Never raises."""

    def _talk(self, stream: Stream) -> None:
        """Pass characters both ways until the tester goes or the server is to stop."""
        adapter, clock = self._adapter, self._clock
        adapter.poll(clock.now())
        while not self._stop.is_set():
            due = adapter.next_due()
            wait = IDLE_SECONDS if due is None else min(IDLE_SECONDS, max(0.0, due - clock.now()))
            if select.select([stream], [], [], wait)[0]:
                data = stream.read()
                if not data:
                    return
                adapter.receive(data, clock.now())
            out = adapter.poll(clock.now())
            if out:
                stream.write(out)


class _SocketStream:
    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection

    def fileno(self) -> int:
        return self._connection.fileno()

    def read(self) -> bytes:
        return self._connection.recv(AT_ONCE)

    def write(self, data: bytes) -> None:
        self._connection.sendall(data)


class TcpServer(TextServer):
    """The text adapter on a TCP port of this machine; port 0 takes a free one. Raises ServeError."""

    def __init__(self, adapter: TextAdapter, clock: KeyClock, port: int) -> None:
        super().__init__(adapter, clock)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._socket.bind((HOST, port))
        except OSError as error:
            self._socket.close()
            raise ServeError(
                f"Port {port} cannot be used ({error.strerror})", "Choose another one, or 0 for a free one"
            ) from error
        self._socket.listen(1)

    @property
    def url(self) -> str:
        return f"socket://{HOST}:{self._socket.getsockname()[1]}"

    def run(self) -> None:
        while not self._stop.is_set():
            if not select.select([self._socket], [], [], IDLE_SECONDS)[0]:
                continue
            connection, _ = self._socket.accept()
            with connection, contextlib.suppress(OSError):
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._talk(_SocketStream(connection))

    def close(self) -> None:
        self._socket.close()


class _PtyStream:
    def __init__(self, master: int) -> None:
        self._master = master

    def fileno(self) -> int:
        return self._master

    def read(self) -> bytes:
        return os.read(self._master, AT_ONCE)

    def write(self, data: bytes) -> None:
        while data:
            data = data[os.write(self._master, data) :]


class PtyServer(TextServer):
    """The text adapter on a pseudo terminal. Only where there are such. Raises ServeError."""

    def __init__(self, adapter: TextAdapter, clock: KeyClock) -> None:
        super().__init__(adapter, clock)
        try:
            import tty
        except ImportError as error:
            raise ServeError("This system has no pseudo terminals", "Use --tcp instead") from error
        # The far end stays open here, so that the terminal outlives a tester that goes and comes back.
        self._master, self._far_end = os.openpty()
        tty.setraw(self._far_end)
        self._name = os.ttyname(self._far_end)

    @property
    def url(self) -> str:
        return self._name

    def run(self) -> None:
        with contextlib.suppress(OSError):
            self._talk(_PtyStream(self._master))

    def close(self) -> None:
        for end in (self._master, self._far_end):
            with contextlib.suppress(OSError):
                os.close(end)
