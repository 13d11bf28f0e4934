"""The table of fields, part one: what a title takes.

Pure. One line a key: its name, its kind, what it is for. The checker reads plans by it and
the JSON Schema is written from it.
"""

from __future__ import annotations

from harness.plan.formats import CHARACTER, COLUMN, ENCODING, HEADER, FrameFile
from harness.plan.kinds import ByShape, Field, Kind, ListOf, Values
from harness.plan.mappings import Mapping, Named, NamedParts
from harness.plan.measures import Length, Share, Size, Whole
from harness.plan.texts import NAME, Arguments, CaptureFile, Choice, Flag, Pattern, Pointer, Text

#: How long a title, and a step beside it, may take where the plan does not say.
TITLE_LIMIT_S = 600.0
STEP_LIMIT_S = 120.0
#: How long a recorder may take to end, once it is told to.
RECORDER_LIMIT_S = 30.0

_LIMIT = Length(low=0.1)
_PATH = Text("a path", most=4096)

# A command: a list of arguments, or such a list with a time limit of its own.
STEP_COMMAND: Field[tuple[str, ...]] = Field(
    "command", Arguments(), "the program and its arguments", required=True
)
STEP_LIMIT: Field[float] = Field(
    "time_limit", _LIMIT, "how long the command may take", default="2 min"
)
STEP: Kind[tuple[str, ...] | Values] = ByShape(
    "a list of arguments", items=Arguments(), entries=Mapping(STEP_COMMAND, STEP_LIMIT)
)

# cut
CUT_FROM: Field[float] = Field("from", Length(), "what is left out at the start", default="0 s")
CUT_LENGTH: Field[float] = Field("length", Length(low=0.1), "how long the scene is")
CUT_TOLERANCE: Field[float] = Field(
    "tolerance", Share(), "how far the capture may be from that length", default="0 %"
)

# frames
FRAMES_FILE: Field[str] = Field(
    "file", CaptureFile(), "the frame log, inside the captures folder", required=True
)
FRAMES_COLUMN: Field[str | int] = Field(
    "column", COLUMN, "its column, by name, or by number where there is no header", required=True
)
FRAMES_UNIT: Field[str] = Field(
    "unit", Choice("s", "ms", "us", "ns"), "the unit of that column", required=True
)
FRAMES_VALUES: Field[str] = Field(
    "values", Choice("durations", "clock"), "frame times, or instants", default="durations"
)
FRAMES_DELIMITER: Field[str] = Field("delimiter", CHARACTER, "what stands between columns")
FRAMES_DECIMAL: Field[str] = Field("decimal", CHARACTER, "the decimal sign: . or ,")
FRAMES_THOUSANDS: Field[str] = Field("thousands", CHARACTER, "the sign between thousands")
FRAMES_ENCODING: Field[str] = Field("encoding", ENCODING, "the encoding of the file's text")
FRAMES_HEADER: Field[int | str] = Field("header", HEADER, "the header's line, or none")
FRAMES_FOOTER: Field[int] = Field("footer", Whole(0, 10_000), "lines to drop at the end")
FRAMES_WHERE: Field[Named[str]] = Field(
    "where", NamedParts(Text("a text", blank=True)), "only rows that have these texts in columns"
)
KINDS_COLUMN: Field[str] = Field(
    "column", NAME, "the column that names the kind of each frame", required=True
)
KINDS_COUNT: Field[tuple[str, ...]] = Field(
    "count", ListOf(NAME), "the kinds that are counted", required=True
)
FRAMES_KINDS: Field[Values] = Field(
    "kinds", Mapping(KINDS_COLUMN, KINDS_COUNT), "which kinds of frames are counted"
)
FRAMES_COUNTER: Field[str] = Field("counter", NAME, "a column that counts frames")

# figures
FIGURE_FROM: Field[str] = Field(
    "from", Choice("wall_time", "output", "json"), "where the number comes from", required=True
)
FIGURE_BETTER: Field[str] = Field(
    "better", Choice("higher", "lower"), "which way it is better", required=True
)
FIGURE_UNIT: Field[str] = Field("unit", Text("a unit", most=40), "its unit")
FIGURE_PATTERN: Field[str] = Field(
    "pattern", Pattern(), "a regular expression with the group value, for output"
)
FIGURE_FILE: Field[str] = Field("file", CaptureFile(), "the JSON file, for json")
FIGURE_AT: Field[str] = Field("at", Pointer(), "JSON pointer to the number, for json")

# build
BUILD_FILES: Field[tuple[str, ...]] = Field(
    "files", ListOf(_PATH), "files whose content identifies the build"
)
BUILD_COMMAND: Field[tuple[str, ...] | Values] = Field(
    "command", STEP, "a command whose output identifies the build"
)

# the title
TITLE: Field[str] = Field("title", NAME, "the program's name", required=True)
SCENE: Field[str] = Field("scene", NAME, "the stretch that is measured", required=True)
TITLE_SETTINGS: Field[tuple[str, ...]] = Field(
    "settings", ListOf(NAME), "the settings it is measured at", required=True
)
COMMAND: Field[tuple[str, ...]] = Field(
    "command", Arguments(), "what starts it: the program and its arguments", required=True
)
TIME_LIMIT: Field[float] = Field("time_limit", _LIMIT, "how long a pass may take", default="10 min")
PREPARE: Field[tuple[tuple[str, ...] | Values, ...]] = Field(
    "prepare", ListOf(STEP), "commands before every pass"
)
TIDY: Field[tuple[tuple[str, ...] | Values, ...]] = Field(
    "tidy", ListOf(STEP), "commands after every pass, also after a fault"
)
COLLECT: Field[tuple[str, ...]] = Field(
    "collect",
    ListOf(Text("a pattern", most=4096)),
    "files that the title leaves in folders of its own",
)
BUILD: Field[Values] = Field(
    "build", Mapping(BUILD_FILES, BUILD_COMMAND), "what identifies the build"
)
CUT: Field[Values] = Field(
    "cut", Mapping(CUT_FROM, CUT_LENGTH, CUT_TOLERANCE), "the part of the capture that counts"
)
FRAMES: Field[Values] = Field(
    "frames",
    FrameFile(
        FRAMES_FILE,
        FRAMES_COLUMN,
        FRAMES_UNIT,
        FRAMES_VALUES,
        FRAMES_DELIMITER,
        FRAMES_DECIMAL,
        FRAMES_THOUSANDS,
        FRAMES_ENCODING,
        FRAMES_HEADER,
        FRAMES_FOOTER,
        FRAMES_WHERE,
        FRAMES_KINDS,
        FRAMES_COUNTER,
    ),
    "how the frame log is read",
)
FIGURES: Field[Named[Values]] = Field(
    "figures",
    NamedParts(
        Mapping(FIGURE_FROM, FIGURE_BETTER, FIGURE_UNIT, FIGURE_PATTERN, FIGURE_FILE, FIGURE_AT)
    ),
    "figures that the title reports by itself",
)
BYTES_PER_FRAME: Field[float | Named[float]] = Field(
    "bytes_per_frame",
    ByShape(
        "a size, or a size for each setting or level by its name",
        text=Size(),
        entries=NamedParts(Size()),
    ),
    "what each frame moves over the link, for ceilings",
)

# driving the title
FILES_PUT: Field[Named[str]] = Field(
    "put", NamedParts(_PATH, names=_PATH), "files to put in place before a pass: from: to"
)
FILES_WATCH: Field[tuple[str, ...]] = Field(
    "watch", ListOf(_PATH), "settings files that must not change during a pass"
)
FILES_GIVE_BACK: Field[bool] = Field(
    "give_back", Flag(), "whether what lay there before is given back after it", default="true"
)
FILES: Field[Values] = Field(
    "files",
    Mapping(FILES_PUT, FILES_WATCH, FILES_GIVE_BACK),
    "files to put in place, and settings files to watch",
)
ALIVE_PROGRAM: Field[str] = Field(
    "program", NAME, "its name, as the system lists it", required=True
)
ALIVE: Field[Values] = Field(
    "alive", Mapping(ALIVE_PROGRAM), "the program that goes on when its launcher has ended"
)
RECORDER_LIMIT: Field[float] = Field(
    "time_limit", _LIMIT, "how long it may take to end, once told to", default="30 s"
)
RECORDER: Field[tuple[str, ...] | Values] = Field(
    "recorder",
    ByShape(
        "a list of arguments", items=Arguments(), entries=Mapping(STEP_COMMAND, RECORDER_LIMIT)
    ),
    "a second command, that records while the title runs",
)
SILENT_AFTER: Field[float] = Field(
    "silent_after", _LIMIT, "how long the title may go without a word of output"
)
STILL_AFTER: Field[float] = Field(
    "still_after", _LIMIT, "how long its captures may go without growing"
)
REPORT_FROM: Field[str] = Field(
    "from", Choice("output", "json"), "where the title says it", required=True
)
REPORTS: Field[Named[Values]] = Field(
    "reports",
    NamedParts(Mapping(REPORT_FROM, FIGURE_PATTERN, FIGURE_FILE, FIGURE_AT)),
    "values the title says it used, held against what was asked for",
)

TITLE_FIELDS: tuple[Field[object], ...] = (
    TITLE,
    SCENE,
    TITLE_SETTINGS,
    FILES,
    COMMAND,
    TIME_LIMIT,
    SILENT_AFTER,
    STILL_AFTER,
    ALIVE,
    RECORDER,
    PREPARE,
    TIDY,
    COLLECT,
    BUILD,
    CUT,
    FRAMES,
    FIGURES,
    BYTES_PER_FRAME,
    REPORTS,
)
