"""A title for an NVIDIA card: frames of real work and real transfers, through PyTorch or CuPy.

Touches disk, the clock and the card. In every frame the card multiplies matrices (``--size``
is their side) while the data of the next frame, so many megabytes, are copied to it from
pinned memory. Copy and work overlap, as they do in a renderer, so a frame takes as long as
the slower of the two: with many megabytes a frame the link sets a ceiling that no smaller
size gets past. A frame ends when the card has finished both; its time is the time from the
end of the frame before, so that the frames add up to the whole.

    frame log (``--log``)   frame,frame_ms,ended_ms: a header and one line a frame; when it ended
                            is told by the system's monotonic clock
    ``--copy-rate``         no frames: copies only, and their rate as one JSON object

Exit status: 0 well; 2 asked wrongly; 3 there is no library, or no card, to compute with.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol

from demo_title import on_record

NO_CARD = 3
LIBRARIES = ("torch", "cupy")
#: Drawn before the first frame that counts: libraries choose and load their kernels in these.
UNTIMED_FRAMES = 5
_BYTES_PER_MIB = 1024 * 1024


class NotThere(Exception):
    """There is nothing to compute with; the text says what is missing and what to do."""


class Engine(Protocol):
    """What computes: a library with a card."""

    library: str  #: its name and version
    card: str  #: the card's name and UUID

    def load(self, *, side: int, products: int, moved_bytes: int, half: bool) -> None:
        """Make the matrices of a frame and the buffers of its data."""

    def frame(self) -> None:
        """Begin the work of a frame, and the copy of the data of the next one."""

    def copy(self) -> None:
        """Begin one copy of the data, and no work."""

    def finish(self) -> None:
        """Return when the card has nothing left to do."""


class TorchEngine:
    """Computes with PyTorch. Raises NotThere where the library or the card is missing."""

    def __init__(self) -> None:
        torch: Any = _imported("torch")
        if not torch.cuda.is_available():
            raise NotThere("PyTorch is here and finds no NVIDIA card it can use")
        self._torch, self.library = torch, f"PyTorch {torch.__version__}"
        about = torch.cuda.get_device_properties(0)
        uuid = getattr(about, "uuid", None)
        self.card = f"{about.name} GPU-{uuid}" if uuid is not None else str(about.name)

    def load(self, *, side: int, products: int, moved_bytes: int, half: bool) -> None:
        """Make the matrices of a frame and the buffers of its data."""
        torch = self._torch
        number = torch.float16 if half else torch.float32
        self._products, self._turn = products, 0
        self._first = torch.rand(side, side, device="cuda", dtype=number)
        self._second = torch.rand(side, side, device="cuda", dtype=number)
        self._result = torch.empty(side, side, device="cuda", dtype=number)
        self._host = torch.ones(moved_bytes, dtype=torch.uint8, pin_memory=True)
        self._moved = [torch.empty(moved_bytes, dtype=torch.uint8, device="cuda") for _ in "ab"]
        self._copies = torch.cuda.Stream()
        torch.cuda.synchronize()

    def frame(self) -> None:
        """Begin the work of a frame, and the copy of the data of the next one."""
        self.copy()
        for _ in range(self._products):
            self._torch.matmul(self._first, self._second, out=self._result)
        self._result[0, 0] += self._moved[self._turn][0]  # the data of this frame are used

    def copy(self) -> None:
        """Begin one copy of the data, and no work."""
        self._turn = 1 - self._turn
        with self._torch.cuda.stream(self._copies):
            self._moved[1 - self._turn].copy_(self._host, non_blocking=True)

    def finish(self) -> None:
        """Return when the card has nothing left to do."""
        self._torch.cuda.synchronize()


class CupyEngine:
    """Computes with CuPy. Raises NotThere where the library or the card is missing."""

    def __init__(self) -> None:
        cupy: Any = _imported("cupy")
        runtime = cupy.cuda.runtime
        try:
            count = runtime.getDeviceCount()
        except runtime.CUDARuntimeError:
            count = 0
        if not count:
            raise NotThere("CuPy is here and finds no NVIDIA card it can use")
        self._cupy, self.library = cupy, f"CuPy {cupy.__version__}"
        about = runtime.getDeviceProperties(0)
        name, uuid = about["name"].decode(), about.get("uuid")
        self.card = f"{name} GPU-{_uuid_text(bytes(uuid))}" if uuid else name

    def load(self, *, side: int, products: int, moved_bytes: int, half: bool) -> None:
        """Make the matrices of a frame and the buffers of its data."""
        cupy, pinned = self._cupy, _imported("cupyx").empty_pinned
        number = cupy.float16 if half else cupy.float32
        self._products, self._turn = products, 0
        self._first = cupy.random.rand(side, side, dtype=cupy.float32).astype(number)
        self._second = cupy.random.rand(side, side, dtype=cupy.float32).astype(number)
        self._result = cupy.empty((side, side), dtype=number)
        self._host = pinned(moved_bytes, dtype=cupy.uint8)
        self._host.fill(1)
        self._moved = [cupy.empty(moved_bytes, dtype=cupy.uint8) for _ in "ab"]
        self._copies = cupy.cuda.Stream(non_blocking=True)
        self.finish()

    def frame(self) -> None:
        """Begin the work of a frame, and the copy of the data of the next one."""
        self.copy()
        for _ in range(self._products):
            self._cupy.matmul(self._first, self._second, out=self._result)
        self._result[0, 0] += self._moved[self._turn][0]  # the data of this frame are used

    def copy(self) -> None:
        """Begin one copy of the data, and no work."""
        self._turn = 1 - self._turn
        self._moved[1 - self._turn].set(self._host, stream=self._copies)

    def finish(self) -> None:
        """Return when the card has nothing left to do."""
        self._cupy.cuda.Device().synchronize()


def _imported(name: str) -> Any:
    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise NotThere(f"{name} cannot be imported: {error}") from error


def _uuid_text(raw: bytes) -> str:
    text = raw.hex()
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:32]))


def engine_of(library: str) -> Engine:
    """Return what computes: *library*, or with ``any`` the first that is there with a card.

    Raises:
        NotThere: no library, or no card.
    """
    makers: dict[str, Callable[[], Engine]] = {"torch": TorchEngine, "cupy": CupyEngine}
    missing = []
    for name in LIBRARIES if library == "any" else (library,):
        try:
            return makers[name]()
        except NotThere as reason:
            missing.append(str(reason))
    raise NotThere(
        f"nothing to compute with ({'; '.join(missing)}): install PyTorch or CuPy for the "
        "card's driver, and see with nvidia-smi that the driver shows the card"
    )


def timed(
    step: Callable[[], None],
    engine: Engine,
    *,
    least_s: float,
    now_ns: Callable[[], int] = time.perf_counter_ns,
) -> list[int]:
    """Carry *step* out for at least *least_s* seconds; return the time of each, ns.

    A step is a frame or a copy of *engine*. Each ends with the card idle, and begins where the
    one before ended.
    """
    for _ in range(UNTIMED_FRAMES):
        step()
        engine.finish()
    durations_ns: list[int] = []
    ended_ns = now_ns()
    last_ns = ended_ns + round(least_s * 1e9)
    while ended_ns < last_ns:
        began_ns = ended_ns
        step()
        engine.finish()
        ended_ns = now_ns()
        durations_ns.append(ended_ns - began_ns)
    return durations_ns


def rate_as_json(engine: Engine, durations_ns: Sequence[int], *, moved_bytes: int) -> str:
    """Return the rate of copies as one JSON object; gigabytes are 10^9 bytes."""
    median_ns = statistics.median(durations_ns)
    return json.dumps(
        {
            "card": engine.card,
            "library": engine.library,
            "direction": "host to device",
            "memory": "pinned",
            "copy_bytes": moved_bytes,
            "copies": len(durations_ns),
            "seconds": sum(durations_ns) / 1e9,
            "median_gigabytes_per_s": moved_bytes / median_ns,
            "best_gigabytes_per_s": moved_bytes / min(durations_ns),
        }
    )


def _whole(low: int, high: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not (text.isascii() and text.isdecimal() and low <= int(text) <= high):
            raise argparse.ArgumentTypeError(f"{text!r} is no number from {low} to {high}")
        return int(text)

    return read


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 0.1 <= seconds <= 3600:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of seconds from 0.1 to 3600")
    return seconds


def parser() -> argparse.ArgumentParser:
    """Return the parser of the title's own command line."""
    made = argparse.ArgumentParser(description="Compute frames on an NVIDIA card and log them.")
    made.add_argument("--library", choices=("any", *LIBRARIES), default="any")
    made.add_argument("--card", metavar="GPU-UUID", help="which card, of several")
    made.add_argument("--size", type=_whole(64, 32768), default=2048, help="side of a matrix")
    made.add_argument("--products", type=_whole(1, 1000), default=1, help="products a frame")
    made.add_argument("--half", action="store_true", help="numbers of 16 bits, not 32")
    made.add_argument("--moves", choices=("few", "many"), default="few", help="data a frame")
    made.add_argument("--few-mib", type=_whole(1, 8192), default=4, metavar="MIB")
    made.add_argument("--many-mib", type=_whole(1, 8192), default=256, metavar="MIB")
    made.add_argument("--seconds", type=_seconds, default=10.0, help="how long, at least")
    made.add_argument("--log", type=Path, help="where to write the time of every frame")
    made.add_argument("--copy-rate", action="store_true", help="copy --many-mib only, print JSON")
    return made


def main(arguments: Sequence[str] | None = None) -> int:
    """Compute and time frames, or copies; write the log. Return the exit status."""
    asked = parser().parse_args(arguments)
    if asked.card:
        # Read by the driver when the library starts; it takes a UUID, and hides the other cards.
        os.environ["CUDA_VISIBLE_DEVICES"] = asked.card
    try:
        engine = engine_of(asked.library)
    except NotThere as reason:
        print(f"gpu_title: {reason}", file=sys.stderr)
        return NO_CARD
    with on_record():
        if asked.copy_rate:
            moved_bytes = asked.many_mib * _BYTES_PER_MIB
            engine.load(side=64, products=1, moved_bytes=moved_bytes, half=False)
            copies_ns = timed(engine.copy, engine, least_s=asked.seconds)
            print(rate_as_json(engine, copies_ns, moved_bytes=moved_bytes))
            return 0
        moved_mib = asked.few_mib if asked.moves == "few" else asked.many_mib
        print(f"computing with {engine.library} on {engine.card}", flush=True)
        print(
            f"size {asked.size}, {asked.products} products of {16 if asked.half else 32} bits "
            f"and {moved_mib} MiB a frame",
            flush=True,
        )
        engine.load(
            side=asked.size,
            products=asked.products,
            moved_bytes=moved_mib * _BYTES_PER_MIB,
            half=asked.half,
        )
        frames_ns = timed(engine.frame, engine, least_s=asked.seconds)
        ended_ns = time.monotonic_ns() - sum(frames_ns)  # each begins where the last one ended
        if asked.log:
            lines = ["frame,frame_ms,ended_ms\n"]
            for n, ns in enumerate(frames_ns, start=1):
                ended_ns += ns
                lines.append(f"{n},{ns / 1e6:.6f},{ended_ns / 1e6:.6f}\n")
            asked.log.write_text("".join(lines), encoding="ascii")
    print(f"{len(frames_ns)} frames in {sum(frames_ns) / 1e9:.3f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
