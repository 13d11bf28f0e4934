from __future__ import annotations

import dataclasses
import enum
import json
import math
import types
import typing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import StoreError
from harness.rig.crossings import GuardBreached
from harness.rig.readings import Reading
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.store import bodies
from harness.store.bodies import KINDS, from_body, kind_of, to_body
from tests.store.examples import CELL, ended, judged, started

GOLDEN = Path(__file__).parents[1] / "golden" / "store"

# Text as Python holds it, with what an operating system may hand over undecoded: such bytes
# become lone low surrogates (PEP 383).
TEXT = st.text(
    st.characters(exclude_categories=["Cs"])
    | st.characters(min_codepoint=0xDC80, max_codepoint=0xDCFF, categories=["Cs"]),
    max_size=8,
)


def values(hint: Any) -> st.SearchStrategy[Any]:
    """Every value of a type that a record may hold, made from the type alone."""
    plain: dict[Any, st.SearchStrategy[Any]] = {
        str: TEXT,
        int: st.integers(),
        bool: st.booleans(),
        float: st.floats(allow_nan=False, allow_infinity=False),
        types.NoneType: st.none(),
    }
    if hint in plain:
        return plain[hint]
    if isinstance(hint, type) and issubclass(hint, enum.Enum):
        return st.sampled_from(hint)
    if dataclasses.is_dataclass(hint):
        hints = typing.get_type_hints(hint)
        fields = {field.name: values(hints[field.name]) for field in dataclasses.fields(hint)}
        return st.builds(typing.cast(Any, hint), **fields)
    arguments = typing.get_args(hint)
    if typing.get_origin(hint) is tuple:
        if arguments[-1] is Ellipsis:
            return st.lists(values(arguments[0]), max_size=3).map(tuple)
        return st.tuples(*map(values, arguments))
    return st.one_of(*map(values, arguments))


def types_and_values(value: object) -> object:
    """Tell 1, 1.0 and True apart, all the way down."""
    if dataclasses.is_dataclass(value):
        named = {
            f.name: types_and_values(getattr(value, f.name)) for f in dataclasses.fields(value)
        }
        return type(value), tuple(named.items())
    if isinstance(value, tuple):
        return tuple, tuple(types_and_values(item) for item in value)
    return type(value), repr(value)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_record_comes_back_exactly(kind: str) -> None:
    @given(values(KINDS[kind]))
    def comes_back(record: Any) -> None:
        body = to_body(record)
        body.encode()  # a database takes it
        back = from_body(body, kind=kind_of(record), version=record.VERSION)
        assert types_and_values(back) == types_and_values(record)

    comes_back()


@pytest.mark.parametrize("value", [16, 16.0, True, "16", ("a", "b"), None])
def test_a_value_keeps_its_type(value: Any) -> None:
    record = r.LevelVerified(
        condition="slot",
        level="alone",
        readings=(Reading(name="gpu.link.width", unit="", value=value),),
    )
    back = from_body(to_body(record), kind="level-verified", version=1)
    assert isinstance(back, r.LevelVerified)
    assert types_and_values(back.readings[0].value) == types_and_values(value)


def test_a_body_is_plain_json_with_every_field() -> None:
    assert to_body(judged(2, Verdict.VOID)) == (
        '{"cell":"5d41402abc4b","attempt":2,"verdict":"void","reason":"nothing against it",'
        '"fault":null,"marks":[]}'
    )


def test_text_is_kept_as_it_reads() -> None:
    record = r.RunPaused(reason="61 °C, „Kupfer“\n\0")
    assert to_body(record) == '{"reason":"61 °C, „Kupfer“\\n\\u0000"}'


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused_by_its_field(number: float) -> None:
    breach = GuardBreached(
        guard=0,
        reading="gpu.temperature",
        bound="at most 80 °C",
        share=0.5,
        samples=3,
        measured=6,
        worst=number,
        unit="°C",
    )
    record = dataclasses.replace(ended(1), guards=(breach,))
    with pytest.raises(StoreError, match="number-not-finite") as caught:
        to_body(record)
    assert caught.value.problems[0].where[0] == "field guards[0].worst"


def test_what_is_no_part_of_a_record_is_a_bug() -> None:
    with pytest.raises(TypeError, match="PosixPath"):
        to_body(r.RunPaused(reason=typing.cast(str, Path("/"))))


def test_a_field_added_later_takes_its_default() -> None:
    older = json.loads(to_body(started(1)))
    del older["marks"], older["new_fields"]
    assert from_body(json.dumps(older), kind="pass-started", version=1) == started(1)


@pytest.mark.parametrize(
    ("kind", "version", "body", "code"),
    [
        ("pass-judged", 1, '{"cell":"5d41402abc4b"}', "record-unreadable"),
        ("pass-judged", 1, '{"cell":', "record-unreadable"),
        ("pass-judged", 1, "[]", "record-unreadable"),
        ("runner-started", 1, "[]", "record-unreadable"),
        ("run-paused", 1, '{"reason":"stop","mood":"bad"}', "record-unreadable"),
        ("run-paused", 0, '{"reason":"stop"}', "record-unreadable"),
        ("run-paused", 2, '{"reason":"stop"}', "record-newer"),
        ("rig-danced", 1, "{}", "record-newer"),
    ],
)
def test_a_body_that_does_not_fit_is_refused(kind: str, version: int, body: str, code: str) -> None:
    with pytest.raises(StoreError) as caught:
        from_body(body, kind=kind, version=version)
    assert caught.value.problems[0].code == code


def test_an_unknown_verdict_is_refused() -> None:
    body = to_body(judged(1)).replace('"kept"', '"lovely"')
    with pytest.raises(StoreError, match="lovely"):
        from_body(body, kind="pass-judged", version=1)


def test_an_older_version_is_read_through_its_step(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(bodies.OLDER, ("run-paused", 0), lambda old: {"reason": old["because"]})
    record = from_body('{"because":"asked"}', kind="run-paused", version=0)
    assert record == r.RunPaused(reason="asked")


def test_no_kept_field_is_renamed_or_dropped_without_a_new_version() -> None:
    # golden/store/kinds.json holds the fields of every kind as first kept. A field may be
    # added with a default; anything else needs a new VERSION and a step in OLDER.
    kept = json.loads((GOLDEN / "kinds.json").read_text(encoding="utf-8"))
    for name, names in kept.items():
        kind, version = name.split("/")
        fields = {field.name: field for field in dataclasses.fields(KINDS[kind])}
        if int(version) < KINDS[kind].VERSION:
            assert (kind, int(version)) in bodies.OLDER
            continue
        assert set(names) <= set(fields), kind
        for name_added in set(fields) - set(names):
            assert fields[name_added].default is not dataclasses.MISSING, (kind, name_added)


def test_every_kind_is_written_down() -> None:
    kept = json.loads((GOLDEN / "kinds.json").read_text(encoding="utf-8"))
    assert {f"{kind}/{cls.VERSION}" for kind, cls in KINDS.items()} <= set(kept)


def test_a_cell_key_and_an_attempt_mean_the_same_in_every_record() -> None:
    # The store files a record under its fields `cell` and `attempt`.
    for cls in KINDS.values():
        hints = typing.get_type_hints(cls)
        assert hints.get("cell", str) is str
        assert hints.get("attempt", int) is int
    assert started(1).cell == CELL
