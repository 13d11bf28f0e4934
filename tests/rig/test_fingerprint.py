from __future__ import annotations

import hashlib
import os
import platform
import socket
from pathlib import Path

import pytest

from harness.plan.document import Command, Title
from harness.rig.fingerprint import Ask, Fingerprint
from harness.rig.fingerprint_fields import FIELDS, fields_meant
from harness.rig.identity import IdentityField
from harness.rig.quantities import QUANTITIES
from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.source import Unreadable


def _title(*files: str, command: bool = False) -> Title:
    return Title(
        title="Lantern Quay",
        scene="harbour loop",
        settings=("fhd",),
        command=Command(argv=("lantern-quay",), time_limit_s=60.0),
        build_files=files,
        build_command=Command(argv=("lantern-quay", "--build"), time_limit_s=5.0)
        if command
        else None,
    )


def _mains(name: str) -> Reading:
    return measured(name, "mains") if name == "power.source" else not_measured(name, "none")


def _fingerprint(folder: Path, ask: Ask = lambda command: None) -> Fingerprint:
    return Fingerprint(folder=folder, read=_mains, ask=ask)


def test_the_full_form_adds_the_hardware_to_the_cheap_one(tmp_path: Path) -> None:
    cheap = _fingerprint(tmp_path).take(None, full=False)
    full = _fingerprint(tmp_path).take(None, full=True)
    assert cheap.items() <= full.items()
    assert {"cpu.cores", "memory.size", "harness.version"} <= full.keys() - cheap.keys()
    assert platform.release() in cheap["os.build"]
    assert all(full.values())


def test_every_field_is_a_reading_or_in_the_table_that_plans_are_checked_by(
    tmp_path: Path,
) -> None:
    fingerprint = _fingerprint(tmp_path, ask=lambda command: b"1.4.2")
    taken = fingerprint.take(_title(command=True), full=True)
    meant = {field for name in FIELDS for field in fields_meant(name, titles=["Lantern Quay"])}
    assert taken.keys() <= meant | QUANTITIES.keys()
    assert not set(FIELDS) & QUANTITIES.keys()


def test_nothing_in_it_names_the_host(tmp_path: Path) -> None:
    text = " ".join(_fingerprint(tmp_path).take(None, full=True).values())
    assert socket.gethostname() not in text.split()


def test_a_field_that_cannot_be_read_is_left_out(tmp_path: Path) -> None:
    fingerprint = Fingerprint(
        folder=tmp_path, read=lambda name: not_measured(name, "none"), ask=lambda command: None
    )
    assert "power.source" not in fingerprint.take(None, full=True)
    assert "power.source" in _fingerprint(tmp_path).take(None, full=False)


def test_the_build_is_the_content_of_its_files(tmp_path: Path) -> None:
    (tmp_path / "quay").write_bytes(b"one")
    fingerprint = _fingerprint(tmp_path)
    first = fingerprint.take(_title("quay"), full=False)["title.build Lantern Quay"]
    content = hashlib.sha256(b"one").hexdigest()
    assert first == "sha256 " + hashlib.sha256(f"quay {content}".encode()).hexdigest()
    (tmp_path / "quay").write_bytes(b"two")
    assert fingerprint.take(_title("quay"), full=False)["title.build Lantern Quay"] != first


def test_a_file_put_back_in_time_and_size_is_still_read_again(tmp_path: Path) -> None:
    path = tmp_path / "quay"
    path.write_bytes(b"one")
    times = path.stat()
    fingerprint = _fingerprint(tmp_path)
    first = fingerprint.take(_title("quay"), full=False)
    path.write_bytes(b"two")
    os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert fingerprint.take(_title("quay"), full=False) != first


def test_a_file_that_was_not_touched_is_not_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "quay").write_bytes(b"one")
    fingerprint = _fingerprint(tmp_path)
    first = fingerprint.take(_title("quay"), full=False)
    monkeypatch.setattr(hashlib, "file_digest", lambda *_: pytest.fail("read again"))
    assert fingerprint.take(_title("quay"), full=False) == first


def test_a_missing_file_leaves_the_build_out(tmp_path: Path) -> None:
    fields = _fingerprint(tmp_path).take(_title("quay"), full=False)
    assert "title.build Lantern Quay" not in fields


def test_the_build_can_be_what_a_command_says(tmp_path: Path) -> None:
    fingerprint = _fingerprint(tmp_path, ask=lambda command: b"Lantern Quay 1.4.2 (build 881)\n")
    fields = fingerprint.take(_title(command=True), full=False)
    assert fields["title.build Lantern Quay"] == "Lantern Quay 1.4.2 (build 881)"


def test_a_command_that_fails_tells_no_build(tmp_path: Path) -> None:
    fields = _fingerprint(tmp_path).take(_title(command=True), full=False)
    assert "title.build Lantern Quay" not in fields


def _field(*texts: str | Exception) -> IdentityField:
    left = list(texts)

    def read() -> str:
        text = left.pop(0) if len(left) > 1 else left[0]
        if isinstance(text, Exception):
            raise text
        return text

    return IdentityField(name="gpu.driver", read=read, where="a script", each_pass=True)


def _of(tmp_path: Path, *fields: IdentityField) -> Fingerprint:
    return Fingerprint(folder=tmp_path, read=_mains, ask=lambda command: None, fields=fields)


def test_every_field_without_a_text_says_why(tmp_path: Path) -> None:
    fingerprint = _of(tmp_path, _field(Unreadable("no NVIDIA driver is installed here")))
    assert "gpu.driver" not in fingerprint.take(_title("quay"), full=True)
    assert fingerprint.unread["gpu.driver"] == "no NVIDIA driver is installed here"
    assert "quay" in fingerprint.unread["title.build Lantern Quay"]


def test_what_was_there_is_asked_twice_before_it_is_lost(tmp_path: Path) -> None:
    fingerprint = _of(tmp_path, _field("560.70", Unreadable("busy"), "560.70"))
    fingerprint.take(None, full=False)
    assert fingerprint.take(None, full=False)["gpu.driver"] == "560.70"
    assert "gpu.driver" not in fingerprint.unread


def test_what_is_lost_twice_is_lost_and_what_comes_back_is_there(tmp_path: Path) -> None:
    gone = Unreadable("the card is lost")
    fingerprint = _of(tmp_path, _field("560.70", gone, gone, "560.70"))
    fingerprint.take(None, full=False)
    assert "gpu.driver" not in fingerprint.take(None, full=False)
    assert fingerprint.unread["gpu.driver"] == "the card is lost"
    assert fingerprint.take(None, full=False)["gpu.driver"] == "560.70"
    assert "gpu.driver" not in fingerprint.unread


def test_what_only_the_full_look_reads_keeps_its_reason_through_the_cheap_ones(
    tmp_path: Path,
) -> None:
    field = IdentityField(name="disks", read=lambda: "", where="a script")
    fingerprint = _of(tmp_path, field)
    fingerprint.take(None, full=True)
    fingerprint.take(None, full=False)
    assert fingerprint.unread["disks"] == "the system does not say"
