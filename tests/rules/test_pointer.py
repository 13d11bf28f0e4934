"""JSON pointers: the example of RFC 6901, section 5, and what leads nowhere."""

from __future__ import annotations

import json

import pytest

from harness.rules.pointer import NotThere, look_up

DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}
TEXT = json.dumps(DOCUMENT).encode()


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_examples_of_the_standard(pointer: str, value: object) -> None:
    assert look_up(TEXT, pointer) == value


@pytest.mark.parametrize(
    "pointer", ["foo", "/fo", "/foo/2", "/foo/-", "/foo/01", "/foo/x", "/foo/0/a", "/m~01n"]
)
def test_a_pointer_that_leads_nowhere_says_so(pointer: str) -> None:
    with pytest.raises(NotThere):
        look_up(TEXT, pointer)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"{", "not JSON"),
        (b"\xff", "not UTF-8"),
        (b'{"a": 1, "a": 2}', "comes twice"),
        (b'{"a": NaN}', "NaN"),
        (b"[" * 100_000, "deep"),
    ],
)
def test_a_text_that_is_not_json_says_so(text: bytes, said: str) -> None:
    with pytest.raises(NotThere, match=said):
        look_up(text, "/a")
