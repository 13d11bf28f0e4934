"""The table of fields, part two: conditions, gates, rules, order, and the plan itself.

Pure. One line a key: its name, its kind, what it is for. The checker reads plans by it and
the JSON Schema is written from it.
"""

from __future__ import annotations

from harness.plan.bounds import Bounded
from harness.plan.history_fields import ENOUGH, EXTENDS, REFERENCE, REUSE
from harness.plan.kinds import ByShape, Field, Kind, ListOf, Values
from harness.plan.mappings import Mapping, Named, NamedParts
from harness.plan.measures import Days, Hours, Length, Share, TimeOfDay, Whole
from harness.plan.texts import NAME, Choice, Flag, Text, Zone
from harness.plan.title_fields import STEP, TITLE_FIELDS

#: A cell that needs more passes than this is not measured better, and no night holds it.
MOST_PASSES = 1000

# what holds before, during and for safety
_BOUND: Kind[tuple[Values, ...]] = ListOf(Bounded())
GATE_FOR: Field[float] = Field("for", Length(), "how long it must hold", default="0 s")
GATE_GIVE_UP: Field[float] = Field(
    "give_up", Length(low=1.0), "how long to wait for it", default="15 min"
)
GATE_THEN: Field[str] = Field(
    "then", Choice("mark", "skip", "hold"), "what follows when it gave up", default="mark"
)
GATE_PRELOAD: Field[bool] = Field(
    "preload", Flag(), "below the band run the title to warm the part", default="false"
)
GUARD_SHARE: Field[float] = Field("share", Share(), "of the pass's time that it may fail")
GUARD_FOR: Field[float] = Field("for", Length(), "how long without a break it may fail")

# conditions
SAY: Field[str] = Field(
    "say", Text("the words for a person", most=2000, lines=True), "what a person is to do"
)
LEVEL_COMMAND: Field[tuple[str, ...] | Values] = Field(
    "command", STEP, "the command that brings the level about"
)
PUT_BACK: Field[tuple[str, ...] | Values] = Field(
    "put_back", STEP, "the command that undoes it at the end, on a hold, after a crash"
)
EXPECT: Field[tuple[Values, ...]] = Field("expect", _BOUND, "readings that verify the level")
NEEDS: Field[tuple[Values, ...]] = Field("needs", _BOUND, "what the rig must be for it")
LEVEL_LIMITS: Field[tuple[Values, ...]] = Field("limits", _BOUND, "limits of its own")
BY: Field[str] = Field(
    "by", Choice("operator", "command"), "who brings its levels about", required=True
)
LEVELS: Field[Named[Values]] = Field(
    "levels",
    NamedParts(Mapping(SAY, LEVEL_COMMAND, PUT_BACK, EXPECT, NEEDS, LEVEL_LIMITS)),
    "its levels by name",
    required=True,
)
OPENS_CASE: Field[bool] = Field("opens_case", Flag(), "the case is opened", default="false")
REBOOT: Field[bool] = Field("reboot", Flag(), "done only after a newer boot", default="false")
CHANGES: Field[tuple[str, ...]] = Field(
    "changes", ListOf(NAME), "fingerprint fields that may differ between its levels"
)

# passes
WARM_UP_PASSES: Field[int] = Field("passes", Whole(0, 100), "passes not counted", default="1")
WARM_UP_WHEN: Field[tuple[str, ...]] = Field(
    "when",
    ListOf(Choice("launch", "visit", "build-changed"), least=0),
    "what makes them necessary",
    default="[launch, visit, build-changed]",
)
WARM_UP_UNTIL: Field[str] = Field("until", Choice("steady"), "warm up until passes agree")
WARM_UP_WITHIN: Field[float] = Field(
    "within", Share(low=1e-6), "how far two passes in a row may differ", default="1 %"
)
WARM_UP_MOST: Field[int] = Field(
    "at_most", Whole(2, 100), "warm-up passes, steady or not", default="5"
)
WARM_UP: Field[int | Values] = Field(
    "warm_up",
    ByShape(
        "a number of passes",
        text=Whole(0, 100),
        entries=Mapping(
            WARM_UP_PASSES,
            WARM_UP_WHEN,
            WARM_UP_UNTIL,
            WARM_UP_WITHIN,
            WARM_UP_MOST,
        ),
    ),
    "passes that are not counted",
    default="1",
)
KEEP: Field[int] = Field(
    "keep", Whole(1, MOST_PASSES), "kept passes wanted in every cell", default="3"
)
AT_MOST: Field[int] = Field(
    "at_most", Whole(1, MOST_PASSES), "counted passes, whatever becomes of them"
)
LOOK_FIRST: Field[bool] = Field(
    "look_first", Flag(), "one pass of every cell before the rest", default="false"
)

# discard rules; which keys a rule takes is known by the vocabulary
RULE: Field[str] = Field("rule", NAME, "the rule's name", required=True)
ON: Field[str] = Field("on", NAME, "the figure it looks at", default="average_fps")
MORE_THAN: Field[float] = Field("more_than", Share(low=1e-6), "distance from the others' median")
ALPHA: Field[float] = Field("alpha", Share(low=1e-6, high=0.5), "level of significance")
LEAST: Field[int] = Field("least", Whole(1, MOST_PASSES), "kept passes below which it only marks")
FLOOR: Field[float] = Field("floor", Share(), "a smaller difference is never an outlier")
SIDE: Field[str] = Field(
    "side", Choice("low", "high", "both"), "where it looks for an outlier", default="both"
)
DISCARD_MOST: Field[int] = Field(
    "at_most", Whole(1, MOST_PASSES), "discards in one cell and group", default="1"
)

# order, faults, comparing
ORDER_BY: Field[str] = Field(
    "by",
    Choice("fewest-changes", "shuffled", "plan"),
    "how the cells of a round are ordered",
    default="fewest-changes",
)
ROUNDS: Field[int] = Field("rounds", Whole(1, MOST_PASSES), "sweeps over the cells of a visit")
ROUNDS_WITHIN: Field[str] = Field(
    "rounds_within", NAME, "a condition whose levels are not left within a round"
)
VISITS: Field[int] = Field("visits", Whole(1, 100), "stays at every hardware state", default="1")
SEED: Field[int] = Field("seed", Whole(0, 2**31), "makes the shuffled order", default="1")
FAULT_AGAIN: Field[int] = Field("again", Whole(0, 100), "tries after the first", default="1")
FAULT_THEN: Field[str] = Field(
    "then", Choice("next-cell", "hold"), "what follows then", default="next-cell"
)
STOP_AFTER: Field[int] = Field(
    "stop_after", Whole(1, MOST_PASSES), "so many cells in a row hold the rig", default="3"
)
SAME: Field[tuple[str, ...]] = Field("same", ListOf(NAME), "fields both sides must share")
BAND: Field[float] = Field("band", Share(), "the smallest difference worth naming", default="3 %")
LOW: Field[str] = Field(
    "low",
    Choice("percentile", "slowest-frames", "slowest-time"),
    "which definition of the low figures is shown",
    default="percentile",
)

# rig, person, night
GPU: Field[str] = Field(
    "gpu", Text("a card's UUID", most=100), "the card under test, of several, by its UUID"
)
SETTLE: Field[float] = Field(
    "settle", Length(high=86_400.0), "wait after a boot or a person's step", default="0 s"
)
PERSON_HOURS: Field[tuple[int, int]] = Field(
    "hours",
    Hours(),
    "when a person may be asked, in the time zone of the plan's night, else in the rig's own",
    required=True,
)
NIGHT_START: Field[int] = Field("start", TimeOfDay(), "when it may begin", required=True)
NIGHT_END: Field[int] = Field("end", TimeOfDay(), "when it must end", required=True)
NIGHT_DAYS: Field[tuple[str, ...] | tuple[tuple[str, ...], ...]] = Field(
    "days",
    ByShape("days", text=Days(), items=ListOf(Days())),
    "days on which it begins",
    default="mon-sun",
)
NIGHT_ZONE: Field[str] = Field("zone", Zone("a time zone", most=64), "a time zone's name")

# the plan
PLAN: Field[str] = Field("plan", NAME, "the plan's name", required=True)
ABOUT: Field[str] = Field("about", Text("a text", lines=True), "the question it answers")
PROCEDURE: Field[str] = Field("procedure", NAME, "the lab's own revision of the procedure")
FACTS: Field[Named[str]] = Field(
    "facts", NamedParts(Text("a text", lines=True)), "kept and shown with results"
)
SETTINGS: Field[Named[Named[str]]] = Field(
    "settings",
    NamedParts(NamedParts(Text("a text", most=2000, blank=True), least=0)),
    "named sets of values that are handed to titles",
    required=True,
)
CONDITIONS: Field[Named[Values]] = Field(
    "conditions",
    NamedParts(Mapping(BY, LEVELS, OPENS_CASE, REBOOT, CHANGES)),
    "what is compared",
)
TITLES: Field[tuple[Values, ...]] = Field(
    "titles", ListOf(Mapping(*TITLE_FIELDS)), "the programs whose speed is measured", required=True
)
PASSES: Field[Values] = Field(
    "passes", Mapping(WARM_UP, KEEP, AT_MOST, LOOK_FIRST), "how often", required=True
)
GATES: Field[tuple[Values, ...]] = Field(
    "gates",
    ListOf(
        Bounded(
            GATE_FOR,
            GATE_GIVE_UP,
            GATE_THEN,
            GATE_PRELOAD,
        ),
        least=0,
    ),
    "what must hold before each pass",
)
GUARDS: Field[tuple[Values, ...]] = Field(
    "guards",
    ListOf(Bounded(GUARD_SHARE, GUARD_FOR), least=0),
    "what must hold during each pass: a breach voids it",
)
LIMITS: Field[str | tuple[Values, ...]] = Field(
    "limits",
    ByShape("a list of limits, or none", text=Choice("none"), items=ListOf(Bounded())),
    "safety: a breach ends the command at once and holds the rig",
)
DISCARD: Field[tuple[Values, ...]] = Field(
    "discard",
    ListOf(Mapping(RULE, ON, MORE_THAN, ALPHA, LEAST, FLOOR, SIDE, DISCARD_MOST), least=0),
    "rules over the passes of one cell",
)
ORDER: Field[Values] = Field(
    "order", Mapping(ORDER_BY, ROUNDS, ROUNDS_WITHIN, VISITS, SEED), "in which order"
)
FAULTS: Field[Values] = Field(
    "faults", Mapping(FAULT_AGAIN, FAULT_THEN, STOP_AFTER), "what follows a fault"
)
COMPARE: Field[Values] = Field("compare", Mapping(SAME, BAND, LOW), "how sides are compared")
RIG: Field[Values] = Field("rig", Mapping(GPU, NEEDS, SETTLE), "what the rig must be")
PERSON: Field[Values] = Field("person", Mapping(PERSON_HOURS), "when a person is there")
NIGHT: Field[Values] = Field(
    "night", Mapping(NIGHT_START, NIGHT_END, NIGHT_DAYS, NIGHT_ZONE), "when it runs unattended"
)

PLAN_MAPPING = Mapping(
    PLAN,
    ABOUT,
    PROCEDURE,
    RIG,
    FACTS,
    PERSON,
    CONDITIONS,
    SETTINGS,
    TITLES,
    PASSES,
    GATES,
    GUARDS,
    LIMITS,
    DISCARD,
    ORDER,
    FAULTS,
    COMPARE,
    NIGHT,
    ENOUGH,
    REFERENCE,
    REUSE,
    EXTENDS,
)
