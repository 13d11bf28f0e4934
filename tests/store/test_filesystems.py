from __future__ import annotations

from pathlib import Path

import pytest

from harness.store.filesystems import NETWORK, file_system_type, type_in

# In the form of proc_pid_mountinfo(5), whose example line is the first.
TABLE = r"""
36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
21 1 8:2 / / rw,relatime shared:1 - ext4 /dev/sda2 rw
40 21 0:35 / /home/ines/lab rw - nfs4 server:/lab rw
41 40 8:3 / /home/ines/lab/fast rw - xfs /dev/sdb1 rw
42 21 0:36 / /media/two\040words rw - cifs //server/share rw
43 21 0:40 / /srv rw - btrfs /dev/sdc rw
44 43 0:41 / /srv rw - fuse.sshfs host:/ rw
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/mnt2/store", "ext3"),
        ("/home/ines", "ext4"),
        ("/home/ines/laboratory", "ext4"),
        ("/home/ines/lab", "nfs4"),
        ("/home/ines/lab/2026/store", "nfs4"),
        ("/home/ines/lab/fast/store", "xfs"),
        ("/media/two words/store", "cifs"),
        ("/srv/store", "fuse.sshfs"),
    ],
)
def test_the_longest_and_latest_mount_point_counts(path: str, kind: str) -> None:
    assert type_in(TABLE, Path(path)) == kind


def test_what_is_in_no_table_is_unknown() -> None:
    assert type_in("", Path("/home")) is None
    assert type_in("nonsense\n36 35\n", Path("/home")) is None


def test_the_place_of_the_tests_is_known_and_local(tmp_path: Path) -> None:
    if not Path("/proc/self/mountinfo").exists():
        pytest.skip("no table of mounts on this system")
    kind = file_system_type(tmp_path / "not" / "there" / "yet")
    assert kind is not None
    assert kind not in NETWORK
