"""Whether the clock of the day is kept by a time service, and who owns the screen.

Touches the clock and disk. Neither is read during a pass.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.kept import text_of

#: adjtimex(2): ``struct timex`` begins with modes, offset, freq, maxerror, esterror, status. With
#: no modes set nothing is changed, and nobody's rights are needed.
_TIMEX_FORM = "@Illlli"
_TIMEX_BYTES = 512  # the kernel's own is about 200 bytes
_STA_UNSYNC = 0x0040
_TIME_ERROR = 5
_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
_SESSIONS = Path("/run/systemd/sessions")


def kernel_clock() -> tuple[bool, int]:
    """Return whether the kernel's clock is kept, and its largest error, µs.

    Raises:
        OSError: the kernel refuses to say.
    """
    import ctypes  # takes longer than all the rest, and only a look at every reading needs it

    timex = ctypes.create_string_buffer(_TIMEX_BYTES)
    state = ctypes.CDLL(None, use_errno=True).adjtimex(timex)
    if state < 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
    *_, most_us, _, status = struct.unpack_from(_TIMEX_FORM, timex.raw)
    return state != _TIME_ERROR and not status & _STA_UNSYNC, most_us


class ClockKept:
    """clock.synchronised: what the kernel says; where it refuses, what the time service left."""

    names = ("clock.synchronised",)
    each_tick = False

    def __init__(
        self,
        *,
        kernel: Callable[[], tuple[bool, int]] = kernel_clock,
        mark: Path = _SYNCHRONISED,
    ) -> None:
        self.where = "adjtimex(2)"
        self._kernel, self._mark = kernel, mark

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it; ``raw`` says by whom, and how far off the clock may be."""
        (name,) = self.names
        try:
            kept, most_us = self._kernel()
        except OSError as error:
            if self._mark.exists():
                return {name: measured(name, value=True, raw=str(self._mark))}
            why = f"the kernel does not say: {error.strerror}"
            return {name: not_measured(name, why)}
        raw = f"adjtimex: at most {most_us / 1e6:.3g} s off" if kept else "adjtimex: unsynchronised"
        return {name: measured(name, value=kept, raw=raw)}


class Screen:
    """screen.session: ``wayland``, ``x11`` or ``tty``, where a session owns the screen.

    The session of the login service that is active on a seat and belongs to the same user;
    without that service's files, what this process was given in its environment.
    """

    names = ("screen.session",)
    each_tick = False

    def __init__(
        self,
        *,
        sessions: Path = _SESSIONS,
        environment: Mapping[str, str] | None = None,
        user: int | None = None,
    ) -> None:
        self.where = f"{sessions}, DISPLAY, WAYLAND_DISPLAY"
        self._sessions = sessions
        self._environment = os.environ if environment is None else environment
        self._user = str(os.getuid() if user is None else user)

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it; ``raw`` names the seat or the display that was looked at."""
        (name,) = self.names
        others = ""
        for session in self._seated():
            if session.get("ACTIVE") != "1":
                continue
            if session.get("UID") != self._user:
                others = "the screen belongs to another user's session"
                continue
            kind = session.get("TYPE") or "unspecified"
            raw = " ".join(filter(None, (session["SEAT"], session.get("DISPLAY"))))
            return {name: measured(name, kind, raw=raw)}
        if others:
            return {name: not_measured(name, others)}
        for variable, kind in (("WAYLAND_DISPLAY", "wayland"), ("DISPLAY", "x11")):
            if self._environment.get(variable):
                raw = f"{variable}={self._environment[variable]}"
                return {name: measured(name, kind, raw=raw)}
        why = "no session owns a screen, and neither DISPLAY nor WAYLAND_DISPLAY is set"
        return {name: not_measured(name, why)}

    def _seated(self) -> Iterator[dict[str, str]]:
        """Yield the sessions on a seat; the login service's files are lines of NAME=value."""
        for path in sorted(self._sessions.glob("*")):
            text = text_of(path) if path.suffix != ".ref" and path.is_file() else None
            lines = (line.partition("=") for line in (text or "").splitlines())
            session = {key: value for key, _, value in lines}
            if session.get("SEAT"):
                yield session
