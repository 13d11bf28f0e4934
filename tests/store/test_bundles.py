from __future__ import annotations

import errno
import hashlib
import io
import os
import shutil
import subprocess
import tarfile
import tracemalloc
from pathlib import Path

import pytest
import zstandard

from harness.errors import StoreError
from harness.rig.tasks import Member
from harness.run.records import BundleRef
from harness.store.bundles import Bundles
from harness.store.faulty_files import FaultyFiles, PowerCut
from harness.store.files import DiskFiles
from harness.store.members import check_bundle, open_member
from tests.store.examples import CELL, frame_log

ATTEMPT = f"{CELL}-001"
RUN = "two-slots-1"


def bundles(folder: Path, files: DiskFiles | None = None) -> Bundles:
    made = Bundles(folder, run=RUN, files=DiskFiles())
    made.make_folder()
    return Bundles(folder, run=RUN, files=files or DiskFiles())


def members(folder: Path) -> tuple[Member, ...]:
    folder.mkdir(exist_ok=True)
    (folder / "stdout").write_bytes(b"rendering at 1920x1080\r\n\xff\x00")
    (folder / "empty").write_bytes(b"")
    return (
        frame_log(folder),
        Member(name="output/stdout", path=folder / "stdout"),
        Member(name="output/stderr", path=folder / "empty"),
    )


def content(folder: Path, ref: BundleRef, name: str) -> bytes:
    with open_member(folder, ref, name, files=DiskFiles()) as member:
        return member.read()


def unpacked(path: Path) -> dict[str, bytes]:
    """Open a bundle with nothing of ours."""
    plain = zstandard.ZstdDecompressor().decompressobj().decompress(path.read_bytes())
    found = {}
    with tarfile.open(fileobj=io.BytesIO(plain)) as tar:
        for info in tar:
            member = tar.extractfile(info)
            assert member is not None
            found[info.name] = member.read()
    return found


def test_a_member_comes_back_byte_for_byte(tmp_path: Path) -> None:
    kept = members(tmp_path / "attempt")
    ref = bundles(tmp_path).keep(ATTEMPT, kept)
    for member in kept:
        assert content(tmp_path, ref, member.name) == member.path.read_bytes()
    check_bundle(tmp_path, ref, files=DiskFiles())


def test_a_bundle_is_named_by_its_own_hash(tmp_path: Path) -> None:
    ref = bundles(tmp_path).keep(ATTEMPT, members(tmp_path / "attempt"))
    assert ref.sha256 == hashlib.sha256((tmp_path / ref.path).read_bytes()).hexdigest()
    assert ref.path == f"bundles/{RUN}/{ATTEMPT}.{ref.sha256}.tar.zst"


def test_each_member_is_noted_with_its_hash_and_size(tmp_path: Path) -> None:
    kept = members(tmp_path / "attempt")
    ref = bundles(tmp_path).keep(ATTEMPT, kept)
    contents = [member.path.read_bytes() for member in kept]
    assert ref.members == tuple(
        (member.name, hashlib.sha256(data).hexdigest(), len(data))
        for member, data in zip(kept, contents, strict=True)
    )
    # The SHA-256 of nothing: FIPS 180-4 example, as in NIST's published test vectors.
    assert ref.members[2][1].startswith("e3b0c44298fc1c149afbf4c8996fb924")


def test_a_bundle_opens_without_the_harness(tmp_path: Path) -> None:
    kept = members(tmp_path / "attempt")
    ref = bundles(tmp_path).keep(ATTEMPT, kept)
    found = unpacked(tmp_path / ref.path)
    assert found.pop("attempt.json") == (
        b'{"schema": "harness.bundle/1", "run": "two-slots-1", '
        b'"attempt": "5d41402abc4b-001", "copy": 1}\n'
    )
    sums = found.pop("SHA256SUMS").decode().splitlines()
    assert sums == [f"{hashlib.sha256(data).hexdigest()}  {name}" for name, data in found.items()]
    assert found == {member.name: member.path.read_bytes() for member in kept}


@pytest.mark.skipif(
    not (shutil.which("tar") and shutil.which("zstd") and shutil.which("sha256sum")),
    reason="needs the tools tar, zstd and sha256sum",
)
def test_the_tools_of_the_system_open_and_check_a_bundle(tmp_path: Path) -> None:
    kept = members(tmp_path / "attempt")
    odd = tmp_path / "attempt" / "odd"
    odd.write_bytes(b"x")
    kept = (*kept, Member(name="captures/back\\slash\nnew line °.csv", path=odd))
    ref = bundles(tmp_path).keep(ATTEMPT, kept)
    out = tmp_path / "out"
    out.mkdir()
    subprocess.run(["tar", "--zstd", "-xf", tmp_path / ref.path, "-C", out], check=True)
    subprocess.run(["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=out, check=True)


def test_the_same_files_make_the_same_bundle_wherever_they_lie(tmp_path: Path) -> None:
    refs = []
    for name in ("here", "there"):
        (tmp_path / name).mkdir()
        kept = members(tmp_path / name / "attempt")
        for member in kept:
            os.utime(member.path, (1_000_000_000, 1_000_000_000))
        refs.append(bundles(tmp_path / name).keep(ATTEMPT, kept))
    assert refs[0] == refs[1]


def test_keeping_again_never_touches_the_first_bundle(tmp_path: Path) -> None:
    kept, made = members(tmp_path / "attempt"), bundles(tmp_path)
    first = made.keep(ATTEMPT, kept)
    before = (tmp_path / first.path).read_bytes()
    second, third = made.keep(ATTEMPT, kept), made.keep(ATTEMPT, kept)
    assert len({first.path, second.path, third.path}) == 3
    assert (tmp_path / first.path).read_bytes() == before
    assert b'"copy": 3' in unpacked(tmp_path / third.path)["attempt.json"]


def test_an_attempt_that_left_no_file_is_kept_too(tmp_path: Path) -> None:
    ref = bundles(tmp_path).keep(ATTEMPT, ())
    assert ref.members == ()
    assert set(unpacked(tmp_path / ref.path)) == {"attempt.json", "SHA256SUMS"}


def test_a_file_name_that_is_no_unicode_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "plain"
    path.write_bytes(b"x")
    name = os.fsdecode(b"captures/\xe9t\xe9.csv")
    ref = bundles(tmp_path).keep(ATTEMPT, (Member(name=name, path=path),))
    assert content(tmp_path, ref, name) == b"x"


@pytest.mark.parametrize(
    "name",
    [
        "",
        "/etc/hosts",
        "../frames.csv",
        "captures/../../x",
        "captures//x",
        "captures/",
        "./x",
        "a\0b",
        "attempt.json",
        "SHA256SUMS",
    ],
)
def test_a_name_that_leaves_the_bundle_is_a_bug(tmp_path: Path, name: str) -> None:
    (tmp_path / "x").write_bytes(b"x")
    with pytest.raises(ValueError, match="not a name within a bundle"):
        bundles(tmp_path).keep(ATTEMPT, (Member(name=name, path=tmp_path / "x"),))


def test_one_name_twice_is_a_bug(tmp_path: Path) -> None:
    log = frame_log(tmp_path)
    with pytest.raises(ValueError, match="there twice"):
        bundles(tmp_path).keep(ATTEMPT, (log, log))


def test_what_is_no_plain_file_is_refused_and_waits_for_nobody(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(StoreError, match="not a plain file"):
        bundles(tmp_path).keep(ATTEMPT, (Member(name="captures/pipe", path=tmp_path / "pipe"),))
    assert bundles(tmp_path).found() == ()


def test_a_file_that_is_gone_is_named(tmp_path: Path) -> None:
    with pytest.raises(StoreError) as caught:
        bundles(tmp_path).keep(ATTEMPT, (Member(name="captures/x", path=tmp_path / "x"),))
    problem = caught.value.problems[0]
    assert problem.code == "bundle-not-kept"
    assert str(tmp_path / "x") in problem.where


class Growing(DiskFiles):
    """A disk on which something still writes to what is being kept."""

    def open(self, path: Path) -> io.BufferedReader:
        with path.open("ab") as file:
            file.write(b"more")
        return path.open("rb")


def test_a_file_that_grows_while_it_is_kept_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="grew while it was kept"):
        bundles(tmp_path, Growing()).keep(ATTEMPT, (frame_log(tmp_path),))


class Shrinking(DiskFiles):
    """A disk on which a file is cut short while it is being kept."""

    def open(self, path: Path) -> io.BufferedReader:
        os.truncate(path, 10)
        return path.open("rb")


def test_a_file_that_shrinks_while_it_is_kept_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="bundle-not-kept"):
        bundles(tmp_path, Shrinking()).keep(ATTEMPT, (frame_log(tmp_path),))
    assert bundles(tmp_path).found() == ()


def test_a_large_capture_takes_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "large.csv"
    block = b"".join(b"%d.%04d\n" % (i % 40, i) for i in range(100_000))
    with path.open("wb") as file:
        for _ in range(40):
            file.write(block)
    made = bundles(tmp_path)
    tracemalloc.start()
    try:
        ref = made.keep(ATTEMPT, (Member(name="captures/large.csv", path=path),))
        check_bundle(tmp_path, ref, files=DiskFiles())
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert path.stat().st_size > 30_000_000
    assert peak < 6_000_000


# ---------------------------------------------------------------- what was kept is checked


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Path, BundleRef]:
    return tmp_path, bundles(tmp_path).keep(ATTEMPT, members(tmp_path / "attempt"))


@pytest.mark.parametrize("share", [0.02, 0.2, 0.5, 0.8, 0.99])
def test_one_flipped_bit_is_noticed(kept: tuple[Path, BundleRef], share: float) -> None:
    folder, ref = kept
    data = bytearray((folder / ref.path).read_bytes())
    data[int(len(data) * share)] ^= 1
    (folder / ref.path).write_bytes(data)
    with pytest.raises(StoreError, match="bundle-damaged"):
        check_bundle(folder, ref, files=DiskFiles())


def test_a_bundle_cut_short_is_noticed_when_a_member_is_read(kept: tuple[Path, BundleRef]) -> None:
    folder, ref = kept
    os.truncate(folder / ref.path, (folder / ref.path).stat().st_size // 2)
    last = ref.members[-1][0]
    with pytest.raises(StoreError, match="bundle-damaged"):
        content(folder, ref, last)


def test_a_member_that_is_not_what_was_kept_is_noticed_when_it_is_read(
    kept: tuple[Path, BundleRef],
) -> None:
    folder, ref = kept
    name, sha256, size = ref.members[0]
    for other in ((name, "0" * 64, size), (name, sha256, size + 1)):
        changed = BundleRef(path=ref.path, sha256=ref.sha256, members=(other,))
        with pytest.raises(StoreError, match="bundle-damaged"):
            content(folder, changed, name)
    assert content(folder, ref, name)


def test_a_member_that_is_not_in_it_is_noticed(kept: tuple[Path, BundleRef]) -> None:
    folder, ref = kept
    changed = BundleRef(path=ref.path, sha256=ref.sha256, members=(("captures/y", "0" * 64, 1),))
    with pytest.raises(StoreError, match="captures/y is not in it"):
        content(folder, changed, "captures/y")
    with pytest.raises(StoreError, match="captures/y is not in it"):
        check_bundle(folder, changed, files=DiskFiles())


def test_a_missing_bundle_is_named(kept: tuple[Path, BundleRef]) -> None:
    folder, ref = kept
    (folder / ref.path).unlink()
    with pytest.raises(StoreError, match="bundle-missing"):
        check_bundle(folder, ref, files=DiskFiles())


# ---------------------------------------------------------------- a disk that fails


def test_a_bundle_is_written_synced_named_and_its_folder_synced(tmp_path: Path) -> None:
    # The order in which a file outlives a power cut: write, fsync, rename, fsync of the folder
    # (common practice; rename(2) and fsync(2) of POSIX promise no less and no more).
    files = FaultyFiles()
    ref = bundles(tmp_path, files).keep(ATTEMPT, (frame_log(tmp_path),))
    verbs = [verb for verb, _ in files.done if verb != "write"]
    assert verbs == ["create", "sync", "replace", "sync-folder"]
    first_sync = files.done.index(("sync", f".{ATTEMPT}.part"))
    assert all(verb != "write" for verb, _ in files.done[first_sync:])
    assert files.done[-2:] == [("replace", ref.path.rsplit("/", 1)[1]), ("sync-folder", RUN)]


def calls(tmp_path: Path) -> int:
    files = FaultyFiles()
    bundles(tmp_path / "count", files).keep(ATTEMPT, members(tmp_path / "attempt"))
    return len(files.done)


def test_a_full_disk_leaves_no_half_bundle_whenever_it_fills(tmp_path: Path) -> None:
    for at in range(1, calls(tmp_path)):
        folder = tmp_path / str(at)
        kept = members(tmp_path / "attempt")
        first = bundles(folder).keep(f"{CELL}-000", kept)
        with pytest.raises(StoreError) as caught:
            bundles(folder, FaultyFiles(fail_at=at)).keep(ATTEMPT, kept)
        assert caught.value.problems[0].code == "store-full"
        assert bundles(folder).found() == (first.path,)
        assert bundles(folder).unfinished() == ()
        check_bundle(folder, first, files=DiskFiles())


def test_a_failing_disk_is_told_from_a_full_one(tmp_path: Path) -> None:
    files = FaultyFiles(fail_at=3, error=errno.EIO)
    with pytest.raises(StoreError) as caught:
        bundles(tmp_path, files).keep(ATTEMPT, members(tmp_path / "attempt"))
    assert caught.value.problems[0].code == "bundle-not-kept"


def test_after_a_power_cut_a_bundle_is_whole_or_not_there(tmp_path: Path) -> None:
    count = calls(tmp_path)
    for at in range(1, count + 1):
        folder = tmp_path / str(at)
        kept = members(tmp_path / "attempt")
        first = bundles(folder).keep(f"{CELL}-000", kept)
        files = FaultyFiles(fail_at=at, error=None)
        with pytest.raises(PowerCut):
            bundles(folder, files).keep(ATTEMPT, kept)
        files.cut_power()
        for path in bundles(folder).found():
            sha256 = path.split(".")[1]
            assert hashlib.sha256((folder / path).read_bytes()).hexdigest() == sha256
        check_bundle(folder, first, files=DiskFiles())
        again = bundles(folder).keep(ATTEMPT, kept)
        check_bundle(folder, again, files=DiskFiles())
        assert bundles(folder).unfinished() == ()


def test_a_bundle_that_was_acknowledged_outlives_a_power_cut(tmp_path: Path) -> None:
    files = FaultyFiles()
    ref = bundles(tmp_path, files).keep(ATTEMPT, members(tmp_path / "attempt"))
    files.cut_power()
    check_bundle(tmp_path, ref, files=DiskFiles())


class Forgetful(FaultyFiles):
    """A disk whose syncs do nothing."""

    def sync(self, file: object) -> None:
        self.step("sync", Path("file"))

    def sync_folder(self, folder: Path) -> None:
        self.step("sync-folder", folder)


def test_the_power_cut_of_these_tests_does_tear_what_was_not_synced(tmp_path: Path) -> None:
    files = Forgetful()
    ref = bundles(tmp_path, files).keep(ATTEMPT, members(tmp_path / "attempt"))
    files.cut_power()
    with pytest.raises(StoreError):
        check_bundle(tmp_path, ref, files=DiskFiles())
