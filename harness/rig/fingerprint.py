"""What identifies the state of the rig, as named texts.

Touches disk. The cheap form holds only what can change between two passes; the full form
adds what can change only with the machine switched off, or by hand. Nothing names the host
or a person. A field that cannot be read is left out.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Callable, Mapping
from pathlib import Path

from harness.plan.document import Command, Title
from harness.rig import fingerprint_fields as f
from harness.rig.readings import Reading
from harness.rig.sensors import machine
from harness.rig.sensors.linux import gib

#: Runs the command that tells a title's build; returns its output, None where it failed.
Ask = Callable[[Command], bytes | None]

_GOVERNOR = Path("/sys/devices/system/cpu/cpufreq/policy0/scaling_governor")


class Fingerprint:
    """Takes the fingerprint of this machine.

    Args:
        folder: What relative paths in a plan are relative to.
        read: Reads one reading.
        ask: Runs the command that tells a build.
    """

    def __init__(self, *, folder: Path, read: Callable[[str], Reading], ask: Ask) -> None:
        self._folder, self._read, self._ask = folder, read, ask
        self._digests: dict[Path, tuple[tuple[int, ...], str]] = {}

    def take(self, title: Title | None, *, full: bool) -> Mapping[str, str]:
        """Return the fields, and the build of *title* as ``title.build NAME``."""
        fields: dict[str, str] = {
            "os.build": machine.os_build(),
            f.KERNEL_BUILD: os.uname().version,
        }
        for name, text in ((f.CPU_GOVERNOR, _governor), ("power.source", self._power)):
            if found := text():
                fields[name] = found
        if full:
            fields.update(_hardware())
        if title is not None and (build := self._build(title)):
            fields[f.title_build(title.title)] = build
        return fields

    def _power(self) -> str:
        value = self._read("power.source").value
        return value if isinstance(value, str) else ""

    def _build(self, title: Title) -> str:
        """Return the build of *title*: its files' contents, and what its command says."""
        parts: list[str] = []
        for name in title.build_files:
            digest = self._digest(self._folder / name)
            if digest is None:
                return ""
            parts.append(f"{name} {digest}")
        if title.build_command is not None:
            said = self._ask(title.build_command)
            if said is None:
                return ""
            parts.append(_said(said))
        if len(parts) == 1 and title.build_command is not None:
            return parts[0]
        return f"sha256 {_sha256(chr(10).join(parts).encode())}" if parts else ""

    def _digest(self, path: Path) -> str | None:
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
        except OSError:
            return None
        self._digests[path] = (key, digest)
        return digest


def _said(output: bytes) -> str:
    """Return the build a command told: its one short line, or else the hash of all of it."""
    text = output.decode("utf-8", "replace").strip()
    return text if len(text) <= 120 and text.isprintable() else f"sha256 {_sha256(output)}"


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _governor() -> str:
    with contextlib.suppress(OSError, ValueError):
        return _GOVERNOR.read_text(encoding="ascii").strip()
    return ""


def _hardware() -> dict[str, str]:
    fields = {
        f.CPU_MODEL: machine.processor(),
        f.CPU_CORES: _cores(),
        f.MEMORY_SIZE: _memory(),
    }
    for name, text in ((f.BOARD_MODEL, machine.board), ("firmware.version", machine.firmware)):
        with contextlib.suppress(OSError):
            fields[name] = text()
    with contextlib.suppress(OSError):
        fields["disks"] = ", ".join(machine.disks())
    return {name: text for name, text in fields.items() if text}


def _cores() -> str:
    """Return how many processors the system shows, and how many cores they are."""
    with contextlib.suppress(OSError, ValueError):
        pairs = {
            (path / "physical_package_id").read_text(encoding="ascii")
            + (path / "core_id").read_text(encoding="ascii")
            for path in Path("/sys/devices/system/cpu").glob("cpu[0-9]*/topology")
        }
        if pairs:
            return f"{len(pairs)} cores, {os.cpu_count()} threads"
    return f"{os.cpu_count()} threads"


def _memory() -> str:
    """Return the size of main memory, to 0.1 GiB: the kernel's own share differs a little."""
    with contextlib.suppress(OSError, ValueError):
        return f"{gib(Path('/proc/meminfo').read_bytes(), b'MemTotal:'):.1f} GiB"
    return ""
