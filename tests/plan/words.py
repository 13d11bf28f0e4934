"""A vocabulary for tests of plans: the table of readings, two rules, some figures."""

from __future__ import annotations

from harness.plan.characters import decode
from harness.plan.check import Checked, check
from harness.plan.parse import parse
from harness.plan.source import Source
from harness.plan.vocabulary import KnownReading, KnownRule, Vocabulary
from harness.rig.quantities import QUANTITIES

VOCABULARY = Vocabulary(
    readings={
        q.name: KnownReading(unit=q.unit, form=q.form.value, low=q.low, high=q.high)
        for q in QUANTITIES.values()
    },
    rules={
        "spread": KnownRule(
            least=3, discards_from=3, takes=("more_than", "least"), needs=("more_than",)
        ),
        "grubbs": KnownRule(least=3, discards_from=6, takes=("alpha", "least", "floor")),
    },
    figures=("average_fps", "low_1pct_fps", "low_01pct_fps", "longest_frame_ms"),
    fields=("title.build", "kernel.build", "cpu.model"),
)

#: A whole plan that is in order, to be changed in one place.
CLEAN = """\
plan: night-1
settings:
  high: {size: 2560x1440, preset: high}
titles:
  - title: Lantern Quay
    scene: harbour loop
    settings: [high]
    command: [lantern-quay, --size, "{size}", --out, "{captures}/frames.csv"]
    cut: {length: 60 s, tolerance: 5 %}
    time_limit: 3 min
    frames: {file: frames.csv, column: frame_ms, unit: ms}
passes: {warm_up: 1, keep: 3, at_most: 6}
limits: none
"""


def changed(*changes: tuple[str, str], add: str = "") -> str:
    """Return the clean plan with texts replaced, each of which must be in it, and lines added."""
    text = CLEAN
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text + add


def source_of(data: bytes, file: str = "plan.yaml") -> Source:
    """Return what reading a file with these bytes gives."""
    text, wrong = decode(data, file)
    return Source(file=file, problems=(wrong,)) if wrong is not None else parse(text, file)


def checked(text: str) -> Checked:
    """Return what checking a plan of this text gives."""
    return check(source_of(text.encode("utf-8", "surrogatepass")), VOCABULARY)


def codes(text: str) -> list[str]:
    """Return the codes of the plan's problems, in order."""
    return [problem.code for problem in checked(text).problems]
