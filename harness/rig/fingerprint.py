"""What identifies the state of the rig, as named texts.

Touches disk. The cheap form, taken before every pass, holds only what can change while the
machine runs; the full form adds what can change only with a restart, or by hand. Which is
which stands in the tables of fields: ``identity_linux``, ``identity_windows`` and
``identity_cards``. Nothing names the host or a person. A field that cannot be read is left
out, and ``unread`` says why.
"""

from __future__ import annotations

import hashlib
import platform
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from harness import __version__
from harness.plan.document import Command, Files, Title
from harness.rig import fingerprint_fields as f
from harness.rig.identity import Identity, IdentityField, look, reason
from harness.rig.identity_cards import card_fields
from harness.rig.readings import Reading, shown
from harness.rig.sensors.source import Unreadable
from harness.rig.title_files import settings_files

if TYPE_CHECKING:
    from harness.rig.sensors.nvml import Nvml

#: Runs the command that tells a title's build; returns its output, None where it failed.
Ask = Callable[[Command], bytes | None]

#: Readings that are fields too: whether each can change while the machine runs.
_READINGS: Mapping[str, bool] = {"power.source": True, "memory.speed": False}


def machine_fields(system: str = sys.platform) -> tuple[IdentityField, ...]:
    """Return the table of fields of this machine.

    Args:
        system: The platform, as ``sys.platform`` names it.
    """
    cards = card_fields(_Opened().nvml)
    if system == "linux":
        from harness.rig.identity_linux import linux_fields

        return (*linux_fields(), *cards)
    if system == "win32":
        from harness.rig.identity_windows import windows_fields
        from harness.rig.windows_system import ThisWindows

        return (*windows_fields(ThisWindows()), *cards)
    return (
        IdentityField(name="os.build", read=_portable_build, where="platform", each_pass=True),
        IdentityField(name=f.CPU_MODEL, read=platform.processor, where="platform"),
        *cards,
    )


class Fingerprint:
    """Takes the fingerprint of this machine.

    Args:
        folder: What relative paths in a plan are relative to.
        read: Reads one reading.
        ask: Runs the command that tells a build.
        fields: The table of fields; None: of this machine.
    """

    def __init__(
        self,
        *,
        folder: Path,
        read: Callable[[str], Reading],
        ask: Ask,
        fields: Sequence[IdentityField] | None = None,
    ) -> None:
        self._folder, self._read, self._ask = folder, read, ask
        self._digests: dict[Path, tuple[tuple[int, ...], str]] = {}
        self._seen: set[str] = set()
        #: Why fields had no text when they were last looked at.
        self.unread: Mapping[str, str] = {}
        self._fields = (
            *(self._of_reading(name, each_pass) for name, each_pass in _READINGS.items()),
            *(machine_fields() if fields is None else fields),
            IdentityField(name=f.HARNESS_VERSION, read=lambda: __version__, where="itself"),
        )

    def take(self, title: Title | None, *, full: bool) -> Mapping[str, str]:
        """Return the fields, and the build of *title* as ``title.build NAME``."""
        table = self._fields if title is None else (*self._fields, *self._of_title(title))
        found = look(table, full=full)
        # What was there a pass ago is asked twice before it is called lost: that holds the rig.
        lost = [field for field in table if field.name in found.unread and field.name in self._seen]
        if lost:
            again = look(lost, full=full)
            unread = {name: why for name, why in found.unread.items() if name not in again.fields}
            found = Identity(fields={**found.fields, **again.fields}, unread=unread)
        self._seen.update(found.fields)
        known = {n: why for n, why in self.unread.items() if n not in found.fields}
        self.unread = {**known, **found.unread}
        return found.fields

    def _of_reading(self, name: str, each_pass: bool) -> IdentityField:
        def read() -> str:
            reading = self._read(name)
            if reading.value is None:
                raise Unreadable(reading.why or "not measured")
            return shown(reading)

        return IdentityField(name=name, read=read, where="the reading", each_pass=each_pass)

    # --- the build of a title ------------------------------------------------------------

    def _of_title(self, title: Title) -> tuple[IdentityField, ...]:
        build = IdentityField(
            name=f.title_build(title.title),
            read=lambda: self._build(title),
            where="the title",
            each_pass=True,
        )
        if title.files is None:
            return (build,)
        files = IdentityField(
            name=f.title_files(title.title, title.scene),
            read=lambda: self._settings(title.files),
            where="the title's settings files",
            each_pass=True,
        )
        return (build, files)

    def _settings(self, files: Files | None) -> str:
        """Return a hash over the names and contents of the settings files."""
        found = settings_files(files, folder=self._folder)
        if not found:
            raise Unreadable("no file has such a name")
        lines = [f"{name} {self._digest(path)}" for name, path in found]
        return f"sha256 {_sha256(chr(10).join(lines).encode())}"

    def _build(self, title: Title) -> str:
        """Return the build of *title*: its files' contents, and what its command says."""
        parts = [f"{name} {self._digest(self._folder / name)}" for name in title.build_files]
        if title.build_command is not None:
            said = self._ask(title.build_command)
            if said is None:
                raise Unreadable("the command that tells the build failed")
            parts.append(_said(said))
        if not parts:
            raise Unreadable("the plan does not say how its build is told")
        if len(parts) == 1 and title.build_command is not None:
            return parts[0]
        return f"sha256 {_sha256(chr(10).join(parts).encode())}"

    def _digest(self, path: Path) -> str:
        """Return the hash of a file; one that was not touched since is not read again.

        Not touched means: same place, size, time of writing and time of change; the last
        cannot be set back by a program.
        """
        try:
            state = path.stat()
            key = (state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns, state.st_ctime_ns)
            known = self._digests.get(path)
            if known is not None and known[0] == key:
                return known[1]
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise Unreadable(f"{path.name}: {reason(error)}") from error
        self._digests[path] = (key, digest)
        return digest


class _Opened:
    """The driver's library, opened when it is first asked for."""

    def __init__(self) -> None:
        self._nvml: Nvml | None = None

    def nvml(self) -> Nvml:
        from harness.rig.sensors.nvml_binding import NvmlBinding

        if self._nvml is None:
            self._nvml = NvmlBinding()
        return self._nvml


def _portable_build() -> str:
    return f"{platform.system()} {platform.release()} {platform.version()}"


def _said(output: bytes) -> str:
    """Return the build a command told: its one short line, or else the hash of all of it."""
    text = output.decode("utf-8", "replace").strip()
    return text if len(text) <= 120 and text.isprintable() else f"sha256 {_sha256(output)}"


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
