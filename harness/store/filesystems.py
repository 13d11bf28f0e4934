"""Which kind of file system a path lies on, and which kinds cannot hold a store.

Touches disk.
"""

from __future__ import annotations

import re
from pathlib import Path

#: Kinds shared over a network, or with a virtual machine's host: locks and shared memory do
#: not reach across, so SQLite's write-ahead log would be damaged (sqlite.org/wal.html).
NETWORK = frozenset(
    {
        "9p",
        "afs",
        "beegfs",
        "ceph",
        "cifs",
        "coda",
        "davfs",
        "fuse.ceph",
        "fuse.curlftpfs",
        "fuse.davfs2",
        "fuse.gcsfuse",
        "fuse.glusterfs",
        "fuse.goofys",
        "fuse.mfs",
        "fuse.rclone",
        "fuse.s3fs",
        "fuse.smbnetfs",
        "fuse.sshfs",
        "fuse.vmhgfs-fuse",
        "gfs2",
        "glusterfs",
        "gpfs",
        "lustre",
        "ncpfs",
        "nfs",
        "nfs4",
        "ocfs2",
        "orangefs",
        "pvfs2",
        "smb",
        "smb2",
        "smb3",
        "smbfs",
        "vboxsf",
        "vmhgfs",
    }
)


def file_system_type(path: Path) -> str | None:
    """Return the kind of file system that *path* lies on (``ext4``), None where unknown.

    *path* need not exist yet.
    """
    try:
        text = Path("/proc/self/mountinfo").read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return None
    return type_in(text, path.resolve())


def type_in(mountinfo: str, path: Path) -> str | None:
    """Return the kind of file system of an absolute *path* in a table of mounts.

    *mountinfo* is as in proc_pid_mountinfo(5): the fifth field is the mount point, with
    blanks as octal escapes; the kind follows the lone hyphen. The longest mount point
    counts, and of two the later, which lies on top.
    """
    best, found = -1, None
    inside = f"{path}/"
    for line in mountinfo.splitlines():
        before, _, after = line.partition(" - ")
        fields = before.split(" ")
        if len(fields) < 5 or not after:
            continue
        point = fields[4]
        if "\\" in point:
            point = re.sub(r"\\([0-7]{3})", lambda m: chr(int(m[1], 8)), point)
        if len(point) >= best and inside.startswith(f"{point.rstrip('/')}/"):
            best, found = len(point), after.split(" ")[0]
    return found
