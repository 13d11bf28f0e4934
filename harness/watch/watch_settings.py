"""What ``rig.yaml`` in the rig's state folder says of the watch: whom to tell, and how.

Touches disk. Read by the same composer and kinds as a plan: every problem is told at once, with
its place.

    notices:
      - to: json://127.0.0.1:8099/bench     # a webhook; an address as the library apprise has it
        on: [done, held, person, failed, trouble]
        tries: 5
        retry_after: 30 s
      - to_in: BENCH_MAIL                   # the environment variable that holds the address
    watch:
      metrics: 9464                         # a port of 127.0.0.1 for figures; none unless said
      stuck_after: 10 min
      page: false                         # the daemon starts no page; it does unless told
      page_options: [--port, "8100"]      # what `harness page` is given

``on`` chooses what is told; where it does not stand, failed cells are not. A notice is tried
``tries`` times, the wait doubled from each to the next. An address may hold a password: keep
the file to yourself, or name a variable.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from harness.errors import AskedError
from harness.plan.kinds import Desk, Field, ListOf, Values
from harness.plan.mappings import Mapping
from harness.plan.measures import Length, Whole
from harness.plan.read import read_plan
from harness.plan.texts import Choice, Flag, Text
from harness.plan.vocabulary import Vocabulary
from harness.rig.sensors.outside_settings import FILE
from harness.watch.notices import USUAL, NoticeKind

_TRIES_USUALLY, _AFTER_USUALLY_S = 5, 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipient:
    """Whom to tell, of what, how often. ``address`` may hold a password: show ``name``."""

    name: str
    address: str
    on: tuple[NoticeKind, ...] = USUAL
    tries: int = _TRIES_USUALLY
    retry_after_s: float = _AFTER_USUALLY_S


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchSettings:
    """All of it. ``metrics_port`` 0: no figures are served. ``stuck_s`` None: by the plan.

    ``page_options`` None: the daemon starts no page; else what ``harness page`` is given.
    """

    recipients: tuple[Recipient, ...] = ()
    metrics_port: int = 0
    stuck_s: float | None = None
    page_options: tuple[str, ...] | None = ()


class _To(Mapping):
    """One entry of ``notices``."""

    __slots__ = ()

    def finish(self, values: Values, desk: Desk, path: str) -> None:
        to, named = "to" in values.nodes, "to_in" in values.nodes
        if to == named:
            what = f"{path} gives {'both to and to_in' if to else 'neither to nor to_in'}"
            desk.error(values.node, "one-of-two", what, "write one of the two")
            return
        address = _address(values)
        place = values.place(_TO if to else _TO_IN)
        if named and not address:
            what = f"{path}.to_in: the variable {values.get(_TO_IN)} is not set"
            do = "set it where the daemon is started, or write to"
            desk.error(place, "no-such-variable", what, do)
        elif address and not urlsplit(address).scheme:
            do = "write it with its scheme, such as json://127.0.0.1:8099/bench or mailtos://…"
            desk.error(place, "wrong-address", f"{path} gives no address", do)


_TO: Field[str] = Field("to", Text("an address", most=2000), "whom to tell")
_TO_IN: Field[str] = Field("to_in", Text("a variable", most=200), "the variable that holds it")
_ON: Field[tuple[str, ...]] = Field(
    "on", ListOf(Choice(*(kind.value for kind in NoticeKind))), "what is told"
)
_TRIES: Field[int] = Field("tries", Whole(low=1, high=20), "how often it is tried")
_AFTER: Field[float] = Field(
    "retry_after", Length(low=1.0, high=3600.0), "how long after the first try the next is"
)
_METRICS: Field[int] = Field("metrics", Whole(low=1, high=65_535), "the port for figures")
_STUCK: Field[float] = Field(
    "stuck_after", Length(low=5.0, high=86_400.0), "when a silent runner is ended"
)
_PAGE: Field[bool] = Field("page", Flag(), "whether the daemon starts the page")
_PAGE_OPTIONS: Field[tuple[str, ...]] = Field(
    "page_options", ListOf(Text("an option", most=2000), least=0), "what the page is given"
)
_NOTICES = ListOf(_To(_TO, _TO_IN, _ON, _TRIES, _AFTER), least=0)
_WATCH = Mapping(_METRICS, _STUCK, _PAGE, _PAGE_OPTIONS)


def watch_settings(folder: Path) -> WatchSettings:
    """Return what ``rig.yaml`` in *folder* says; the defaults where it says nothing.

    Raises:
        AskedError: these parts of the file have problems; all of them.
    """
    path = folder / FILE
    if not path.exists():
        return WatchSettings()
    source = read_plan(path)
    problems = tuple(p for p in source.problems if p.code != "empty-plan")
    if problems:
        raise AskedError(problems)
    desk = Desk(source, Vocabulary(readings={}, rules={}))
    recipients: tuple[Values, ...] = ()
    watch: Values | None = None
    for key, node in source.root.value if source.root is not None else ():
        if key.value == "notices":
            recipients = _NOTICES(node, desk, "notices") or ()
        elif key.value == "watch":
            watch = _WATCH(node, desk, "watch")
    if desk.problems:
        raise AskedError(desk.problems)
    return WatchSettings(
        recipients=tuple(_recipient(values, n) for n, values in enumerate(recipients, start=1)),
        metrics_port=watch.of(_METRICS, 0) if watch is not None else 0,
        stuck_s=watch.get(_STUCK) if watch is not None else None,
        page_options=_page_options(watch),
    )


def _page_options(watch: Values | None) -> tuple[str, ...] | None:
    if watch is None:
        return ()
    return watch.of(_PAGE_OPTIONS, ()) if watch.of(_PAGE, True) else None


def _address(values: Values) -> str:
    return values.get(_TO) or os.environ.get(values.of(_TO_IN, ""), "")


def _recipient(values: Values, number: int) -> Recipient:
    address = _address(values)
    parts = urlsplit(address)
    on = values.get(_ON)
    return Recipient(
        # Neither a password nor a token in a path is ever shown or kept.
        name=f"notices[{number}] {parts.scheme}://{parts.hostname or ''}",
        address=address,
        on=tuple(map(NoticeKind, on)) if on is not None else USUAL,
        tries=values.of(_TRIES, _TRIES_USUALLY),
        retry_after_s=values.of(_AFTER, _AFTER_USUALLY_S),
    )
