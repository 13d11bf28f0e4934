"""The table of fields, part three: what leans on earlier work, and how much is enough.

Pure. One line a key: its name, its kind, what it is for. The checker reads plans by it and
the JSON Schema is written from it.
"""

from __future__ import annotations

from harness.plan.kinds import Field, ListOf, Values
from harness.plan.mappings import Mapping
from harness.plan.measures import Length, Share
from harness.plan.texts import NAME, Choice

_DAY_S = 86_400.0

# enough
ENOUGH_FIGURE: Field[str] = Field("figure", NAME, "the figure that is wanted so exactly")
ENOUGH_HALF_WIDTH: Field[float] = Field(
    "half_width",
    Share(low=1e-5, high=0.5),
    "half the width of its 95 % interval, of the mean",
    required=True,
)
ENOUGH_FROM: Field[str] = Field(
    "from",
    Choice("history", "two-stage"),
    "what fixes the number of passes: pooled earlier spread, or the first passes of the cell",
    default="two-stage",
)

# reference
REFERENCE_TITLE: Field[str] = Field("title", NAME, "its title", required=True)
REFERENCE_SCENE: Field[str] = Field("scene", NAME, "its scene, where the title has several")
REFERENCE_SETTING: Field[str] = Field("setting", NAME, "its setting", required=True)
REFERENCE_EVERY: Field[float] = Field(
    "every",
    Length(low=60.0, high=30 * _DAY_S),
    "measured again after so long, beside the start and the end of each visit",
)

# reuse
REUSE_WITHIN: Field[float] = Field(
    "within",
    Length(low=60.0, high=3660 * _DAY_S),
    "how old an earlier cell may be",
    required=True,
)
REUSE_SAME: Field[tuple[str, ...]] = Field(
    "same", ListOf(NAME), "fields of the fingerprint that must be as they were", required=True
)
REUSE_CHECK: Field[str] = Field(
    "check", Choice("reference"), "taken only if the reference cell is what it used to be"
)

ENOUGH: Field[Values] = Field(
    "enough",
    Mapping(ENOUGH_FIGURE, ENOUGH_HALF_WIDTH, ENOUGH_FROM),
    "how exact a cell is wanted: fixes how many passes are kept, before they are measured",
)
REFERENCE: Field[Values] = Field(
    "reference",
    Mapping(REFERENCE_TITLE, REFERENCE_SCENE, REFERENCE_SETTING, REFERENCE_EVERY),
    "a cell that is repeated to see the rig drift",
)
REUSE: Field[Values] = Field(
    "reuse",
    Mapping(REUSE_WITHIN, REUSE_SAME, REUSE_CHECK),
    "earlier cells that are taken instead of measuring again",
)
EXTENDS: Field[str] = Field("extends", NAME, "the plan whose accepted cells are taken over")
