"""A title for tests that fills the disk of the store once: filling_title.py FRAMES_CSV STORE MARK.

It writes its frames, and in its third pass (counted by lines in MARK) then fills the disk up.
"""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

CHUNK = b"\0" * 4096


def main() -> int:
    frames, store, mark = (Path(each) for each in sys.argv[1:4])
    rows = "".join(f"{frame + 1},{6.0 + frame % 3}\n" for frame in range(40))
    frames.write_text("frame,frame_ms\n" + rows, encoding="ascii")
    with mark.open("a", encoding="ascii") as file:
        file.write("pass\n")
    if len(mark.read_text(encoding="ascii").splitlines()) == 3:
        with contextlib.suppress(OSError), (store / "filler").open("wb", buffering=0) as filler:
            while True:
                filler.write(CHUNK)
    return 0


if __name__ == "__main__":
    sys.exit(main())
