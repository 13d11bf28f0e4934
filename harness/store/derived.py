"""What was worked out again from kept captures: files beside the records, never in them.

Touches disk. A run's records belong to its runner and say what was decided when; another
definition or another rule decides nothing of that. So a recomputation is a file of its own,
named by the SHA-256 of its content: it takes nothing's place, two of them never meet, and any
of them can be made again from the captures.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from harness.errors import Problem, StoreError
from harness.store.files import DiskFiles, Files

#: Where they lie in the store's folder.
FOLDER = "recomputed"


def keep_derived(
    folder: Path, name: str, content: Mapping[str, object], *, files: Files | None = None
) -> Path:
    """Keep *content* as JSON in the store in *folder*, durably; return where.

    Args:
        folder: The store's folder.
        name: What it is of; the file is called ``NAME.HASH.json``.
        content: What is kept.
        files: The disk; a fake in tests.

    Raises:
        StoreError: It could not be kept; nothing half-written is left under its name.
    """
    disk = files if files is not None else DiskFiles()
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, sort_keys=True, indent=1)
    data = (text + "\n").encode()
    target = folder / FOLDER / f"{name}.{hashlib.sha256(data).hexdigest()[:16]}.json"
    part = target.with_name(f".{target.name}.part")
    try:
        disk.make_folder(target.parent)
        if disk.exists(target):
            return target
        with disk.create(part) as file:
            file.write(data)
            disk.sync(file)
        disk.replace(part, target)
        disk.sync_folder(target.parent)
    except OSError as error:
        raise StoreError(
            Problem(
                code="derived-not-kept",
                what=f"the recomputed figures could not be kept: {error.strerror or error}",
                where=(str(target),),
                do="free space there or see who may write to it, then give the same command again; "
                "nothing that was kept is concerned",
            )
        ) from error
    return target
