"""Telling systemd that the service is up and lives, as sd_notify(3) and sd_watchdog_enabled(3) describe it.

One datagram a message to the socket named in the environment. Without that variable nothing is sent.
"""

import os
import socket
import sys
import time
from collections.abc import Callable, MutableMapping


class Readiness:
    """The line to whoever started the service."""

    def __init__(self, address: str | None, watchdog_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        """The socket's path ('@' in front for the abstract name space), and the watchdog's interval, 0 for none."""
        self._address, self._clock = address, clock
        self._pause_s = watchdog_s / 2
        self._next_s = clock()

    @classmethod
    def from_environment(cls, environment: MutableMapping[str, str] | None = None) -> "Readiness":
        """As the environment says; its variables are taken out, so that workers do not speak for the service."""
        told = os.environ if environment is None else environment
        address, microseconds, pid = (
            told.pop(name, None) for name in ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID")
        )
        meant_for_us = pid in (None, str(os.getpid()))
        return cls(address, int(microseconds) / 1e6 if microseconds and meant_for_us else 0.0)

    def ready(self) -> None:
        """The bench is watched."""
        self._send("READY=1")

    def looked(self) -> None:
        """A look at the inbox is complete. The watchdog hears of it at half its interval, and only here:

        a service that hangs in a look, or never comes to one, is started anew.
        """
        if self._pause_s > 0 and self._clock() >= self._next_s:
            self._next_s = self._clock() + self._pause_s
            self._send("WATCHDOG=1")

    def stopping(self) -> None:
        """The service ends of its own will."""
        self._send("STOPPING=1")

    def _send(self, message: str) -> None:
        if self._address is None or sys.platform == "win32":
            return
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
            try:
                line.sendto(message.encode(), address)
            except OSError:
                return  # whoever started us has gone or hears no more: no reason to stop the work
