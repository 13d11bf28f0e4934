"""Reading a capture out of a text, in one piece or in many, with pyarrow or without."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from harness.rig.captures import source, text
from harness.rig.captures.declared import Declared
from harness.rig.captures.gather import Capture
from harness.rig.captures.read import read_capture

Read = Callable[..., Capture]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Return what reads a text or bytes as a capture; ``column`` and ``unit`` have defaults."""

    def reader(
        content: str | bytes, *, part: Any = None, way: Any = False, **options: Any
    ) -> Capture:
        path = tmp_path / "frames.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        declared = Declared(**{"column": "frame_ms", "unit": "ms", **options})
        return read_capture(str(path), declared, part=part, with_pyarrow=way)

    return reader


@pytest.fixture
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make every file a large one, read in pieces of a few rows."""
    monkeypatch.setattr(source, "BLOCK_BYTES", 96)
    monkeypatch.setattr(text, "SMALL_BYTES", 32)
