"""The files of one attempt, unpacked from its bundle, each held against its hash.

Touches disk.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from harness.run.records import BundleRef
from harness.store.sqlite import Store

_PARTS = ("captures/", "output/")


@contextmanager
def unpacked(store: Store, ref: BundleRef) -> Iterator[Path]:
    """Unpack captures and output of *ref* into a folder that is gone at the end.

    Raises:
        StoreError: The bundle is missing, or is not what was kept.
    """
    with TemporaryDirectory(prefix="harness-") as name:
        folder = Path(name)
        for part in _PARTS:
            (folder / part).mkdir()
        for member, _, _ in ref.members:
            if not member.startswith(_PARTS):
                continue
            target = folder / member
            target.parent.mkdir(parents=True, exist_ok=True)
            with store.open_member(ref, member) as source, target.open("wb") as file:
                shutil.copyfileobj(source, file)
        yield folder
