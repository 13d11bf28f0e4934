"""Figures of one pass, and verdicts: the values that rules make.

Pure.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A number computed from one pass, always with its unit and its definition.

    Exactly one of ``value`` and ``why`` is given. ``definition`` is name and version, as
    in ``percentile/1``. ``thin`` marks a low figure with few frames in its tail.
    """

    name: str
    value: float | None
    unit: str
    definition: str
    why: str | None = None
    thin: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HarnessCost:
    """What looking at the rig cost the frames of one pass, measured from its own capture.

    ``cost_ms`` is a mean for each look, with its 95 % interval; ``share`` is that of the frames'
    whole time, ``most_share`` the same at ``high_ms``. Where the looks cost nothing the cost is
    as often below zero as above. All five are given, or ``why``.

    ``laid`` says how the frames were laid on the sampler's clock: ``clock`` by their own clock
    values, ``found`` by the place in the sampler's period at which they are longer, ``sought``
    where no place stands out: the interval is then that of every place it can be.
    """

    definition: str
    looks: int
    cost_ms: float | None = None
    low_ms: float | None = None
    high_ms: float | None = None
    share: float | None = None
    most_share: float | None = None
    laid: str = ""
    why: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was read from the captures and the output of one pass.

    ``flags`` are remarks on the capture (``capped``, ``gap``, …), ``notes`` what the reader
    passed over and why. ``problem`` is a capture that cannot be taken, in words; ``fault``
    names its kind. A pass with a problem has no figures.
    """

    figures: tuple[Figure, ...] = ()
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    frames: int | None = None
    problem: str | None = None
    fault: str | None = None
    harness_cost: HarnessCost | None = None  #: None: nothing real was measured

    def figure(self, name: str) -> Figure | None:
        """Return the figure called *name*, or None."""
        for figure in self.figures:
            if figure.name == name:
                return figure
        return None


class Verdict(enum.Enum):
    """What a pass is worth."""

    KEPT = "kept"
    DISCARDED = "discarded"  #: by a rule
    VOID = "void"  #: a guard, or the capture
    FAILED = "failed"  #: a fault
    INTERRUPTED = "interrupted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The verdict on one pass by itself, with its reason in words.

    ``fault`` is the fault's name where there is one; ``marks`` keep a kept pass out of
    ``compare`` unless asked.
    """

    verdict: Verdict
    reason: str
    fault: str | None = None
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPass:
    """What a discard rule sees of one kept pass: its attempt and its figures by name."""

    attempt: int
    figures: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a discard rule found: one pass that stands out.

    ``discard`` is false where the rule may only mark. ``critical`` is what ``statistic``
    was held against, in the same unit.
    """

    attempt: int
    rule: str  #: name and version, as in ``grubbs/1``
    on: str
    statistic: float
    critical: float
    passes: int  #: how many passes the rule saw
    discard: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingSummary:
    """One reading over one pass. Numbers only over the samples that had a value."""

    name: str
    unit: str
    samples: int
    measured: int
    mean: float | None
    least: float | None
    most: float | None
    why: str | None = None  #: why nothing was measured
