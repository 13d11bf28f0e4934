"""Feed damaged plans and captures to the readers: no traceback, no hang, no accepted nonsense.

    python scripts/fuzz.py [--minutes N] [--seed N]

The examples of tests/golden are cut, glued, overwritten and mixed. What a reader accepts is
held against what it must mean: a plan freezes and thaws to itself and has a grid within the
limit; a capture's frame times are finite, above zero and sum to the total. A failing seed is
printed, with the input written to a file, and replays exactly.
"""

from __future__ import annotations

import argparse
import faulthandler
import math
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from harness.plan.canonical import freeze, thaw  # noqa: E402 - the path comes first
from harness.plan.cells import cells  # noqa: E402
from harness.plan.characters import decode  # noqa: E402
from harness.plan.check import check  # noqa: E402
from harness.plan.parse import parse  # noqa: E402
from harness.rig.captures.declared import Declared  # noqa: E402
from harness.rig.captures.read import read_capture  # noqa: E402
from harness.rules.figures import figures  # noqa: E402
from harness.rules.flags import flags  # noqa: E402
from harness.wiring import vocabulary  # noqa: E402

GOLDEN = ROOT / "tests" / "golden"
#: One input may take this long, on any machine, before it counts as a hang, seconds.
PATIENCE_S = 20.0

_WORDS = (
    *(b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\x1a", b"\r", b"\r\n", b"\n\n", b"\xc2\xa0"),
    *(b",", b";", b"\t", b'"', b"'", b"%", b"nan", b"inf", b"-1", b"0", b"1e400", b"1_000"),
    *(b": ", b" #", b"- ", b"&a ", b"*a", b"<<: ", b"{", b"}", b"[", b"]", b"---\n"),
    *(b"!!python/name:os.system ", b"999999999999"),
)


def damaged(data: bytes, others: Sequence[bytes], rng: random.Random) -> bytes:
    """Return *data* after a few random cuts, repeats, overwritings and graftings."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        at = rng.randint(0, len(out))
        end = min(len(out), at + rng.randint(0, 40))
        match rng.randint(0, 6):
            case 0:
                del out[at:end]
            case 1:
                out[at:at] = out[at:end]
            case 2:
                out[at:at] = rng.choice(_WORDS)
            case 3:
                out[at:end] = rng.randbytes(rng.randint(1, 4))
            case 4:
                other = rng.choice(others)
                start = rng.randint(0, len(other))
                out[at:end] = other[start : start + rng.randint(0, 200)]
            case 5:
                del out[at:]
            case _:
                lines = bytes(out).splitlines(keepends=True)
                rng.shuffle(lines)
                out = bytearray(b"".join(lines))
    return bytes(out)


def try_plan(data: bytes) -> str:
    """Read one plan; return the code of its first problem, or ``accepted``."""
    text, wrong = decode(data, "fuzzed.yaml")
    if wrong is not None:
        return wrong.code
    checked = check(parse(text, "fuzzed.yaml"), vocabulary())
    if checked.errors:
        assert checked.plan is None
        return checked.errors[0].code
    plan = checked.accepted()
    assert thaw(freeze(plan)) == plan, "a plan does not thaw to itself"
    assert 0 < len(cells(plan)) <= 100_000
    assert plan.passes.keep <= plan.passes.at_most
    return "accepted"


def capture_trier(folder: Path, rng: random.Random) -> Callable[[bytes], str]:
    """Return what reads one capture in *folder*, under declarations drawn from *rng*."""
    path = folder / "fuzzed.csv"

    def draw(*choices: str | None) -> str | None:
        return rng.choice(choices)

    def try_capture(data: bytes) -> str:
        path.write_bytes(data)
        declared = Declared(
            column=rng.choice(("frame_ms", "frame_time", "t_s", 1, 2)),
            unit=draw("ms", "s", "us", None),
            values=rng.choice(("durations", "clock")),
            delimiter=draw(None, None, ",", ";"),
            decimal=draw(None, None, ",", "."),
            thousands=draw(None, None, ".", ","),
            header=rng.choice((None, None, "none", 1, 4)),
        )
        capture = read_capture(str(path), declared)
        if capture.times is None or capture.troubles:
            assert capture.troubles, "neither read nor refused"
            return capture.troubles[0].code
        times = capture.times
        assert times.count > 0
        assert math.isfinite(times.total_ms)
        assert times.total_ms > 0
        for figure in figures(times):
            assert (figure.value is None) != (figure.why is None)
            assert figure.value is None or math.isfinite(figure.value)
        flags(times)
        return "read"

    return try_capture


def main() -> int:
    """Fuzz until the time is over; print how often each answer came."""
    parser = argparse.ArgumentParser(description="Feed damaged plans and captures to the readers.")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    plans = [path.read_bytes() for path in sorted((GOLDEN / "plans").glob("*.yaml"))]
    captures = [path.read_bytes() for path in sorted((GOLDEN / "captures").glob("*.csv"))]
    answers: Counter[str] = Counter()
    deadline = time.monotonic() + 60 * args.minutes
    seed = args.seed
    with tempfile.TemporaryDirectory() as folder:
        while time.monotonic() < deadline:
            rng = random.Random(seed)
            kind, seeds = ("plan", plans) if seed % 2 else ("capture", captures)
            data = damaged(rng.choice(seeds), seeds, rng)
            attempt = try_plan if kind == "plan" else capture_trier(Path(folder), rng)
            faulthandler.dump_traceback_later(PATIENCE_S, exit=True)
            try:
                answers[f"{kind}: {attempt(data)}"] += 1
            except BaseException:
                Path(f"fuzzed-{seed}.bin").write_bytes(data)
                print(f"seed {seed} failed; its input is in fuzzed-{seed}.bin")
                raise
            finally:
                faulthandler.cancel_dump_traceback_later()
            seed += 1
    print(f"{seed - args.seed} inputs, seeds {args.seed} to {seed - 1}: no traceback, no hang")
    for answer, times in answers.most_common():
        print(f"  {times:>8}  {answer}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
