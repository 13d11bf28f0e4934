r"""Whether a number that a pattern took out of a text goes on beside what was taken.

Pure. ``[0-9.]+`` takes 1 out of ``1,234.5``: a number, and a wrong one. What was taken is
whole only where the text beside it cannot be more of the same number. Where that is open the
number is refused, since a void pass is seen and a wrong figure is not:

    1,234.5  1234,5  1'234  1_234  1:23.4   a mark and a digit directly behind it: it goes on
    1.5e3  1.5×10^3  0x1F                   so does a power of ten, or another base
    .5  -5                                  a point or a sign directly before belongs to it
    1 234                                   one blank and three digits behind one to three
                                            digits: thousands, whatever word follows
    12.5, 13 frames                         a comma and a blank: the sentence goes on
    60 fps  60.5 144  1234 567  60  144     no thousands are written so: another number begins
    22:15:09 600                            nor here: what stands before is a time, a date

A pattern may say itself that another number stands there, with the mark and digits before or
behind the group: ``(?P<value>[0-9.]+),[0-9]`` or ``[\d.]+,(?P<value>[0-9.]+)``; for a blank
``\s`` does, too, and ``+`` behind it; and ``-(?P<value>`` that a dash is no sign. A wildcard,
or a class of several marks as in ``[.,]``, does not: it takes the number's own mark as well.
"""

from __future__ import annotations

import re

_SPACES = "\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{THIN SPACE}"
_MARKS = ".,:_'\N{RIGHT SINGLE QUOTATION MARK}" + _SPACES
_SIGNS = "\\-\N{MINUS SIGN}"
#: So much is looked at on either side, characters.
_BESIDE = 40

_BEHIND = re.compile(rf"[{_MARKS}]?\d|[eE][+{_SIGNS}]?\d|\s?[x×*]\s?10(?:\^|\*\*|[²³¹⁰-⁹⁻])")
_BEFORE = re.compile(rf"\d[{_MARKS}]?\Z|(?<!\.)\.\Z|[{_SIGNS}]\Z")
_BASE_BEHIND = re.compile(r"[xX][0-9a-fA-F]")  # behind 0 alone: 1920x1080 is a size
#: Thousands set apart by blanks, around what was taken.
_THOUSAND_BEHIND = re.compile(r" \d{3}(?!\d)")
_THOUSAND_BEFORE = re.compile(r"(?<!\d[:.,/-])(?<![\d.,])\d{1,3}(?: \d{3})* \Z")
_LEADING = re.compile(r"[+-]?\d{1,3}")
_FOLLOWING = re.compile(r"\d{3}(?:\.\d+)?")
#: Of a pattern: what takes one character of a text (for ``re.VERBOSE``).
ONE = r"""
    (?P<one> \[\^?\]?(?:\\.|[^\]\\])*\] | \\[dDsSwW] | \\[^A-Za-z0-9] | [^\\\[\](){}*+?|^$] )
"""
#: That, and how many of them.
_ITEM = re.compile(
    ONE + r" (?P<many> (?:[*+?] | \{\d+(?:,\d*)?\}) [?+]? )?", re.VERBOSE | re.DOTALL
)
#: A group, not repeated.
_GROUP = re.compile(r"\((?:\?:|\?P<\w+>|(?!\?))|\)(?![*+?{])")
_BLANKS = re.compile(r"\[(?: |\\s|\\t|\t)+\]")
#: For showing: the whole, as it stands.
_LEFT = re.compile(rf"(?:\d{{1,3}} (?=\d|\Z)|[\d{_MARKS}{_SIGNS}])*\Z")
_RIGHT = re.compile(
    rf"(?:\d|[{_MARKS}]\d| \d{{3}}(?!\d)|[eE][+{_SIGNS}]?\d|\s?[x×*]\s?10\S*|[xX][0-9a-fA-F]+)*"
)


def goes_on(pattern: str, text: str, start: int, end: int) -> str | None:
    r"""Return the number as it stands in *text* where it goes on beside what was taken.

    Args:
        pattern: What took it: a regular expression with the group ``value``.
        text: Where it was taken from.
        start: Where what was taken begins.
        end: Where it ends.

    Returns:
        The whole, or None: what was taken is all of it.

    >>> goes_on(r"(?P<value>[0-9.]+)", "score = 1,234.5", 8, 9)
    '1,234.5'
    >>> goes_on(r"(?P<value>[0-9.]+)", "score = 12.5, 13 frames", 8, 12) is None
    True
    """
    taken = text[start:end]
    if not taken[-1:].isdigit() and not taken[:1].isdigit():
        return None  # no number: that is found anyway
    before, behind = text[max(0, start - _BESIDE) : start], text[end : end + _BESIDE]
    left, right = _beside_the_group(pattern)
    more = (
        _BEHIND.match(behind) is not None
        or (_LEADING.fullmatch(taken) is not None and _THOUSAND_BEHIND.match(behind) is not None)
        or (taken.lstrip("+-") == "0" and _BASE_BEHIND.match(behind) is not None)
    )
    less = _BEFORE.search(before) is not None or (
        _FOLLOWING.fullmatch(taken) is not None and _THOUSAND_BEFORE.search(before) is not None
    )
    if (more and not _another_begins(right, behind)) or (less and not _another_ended(left, before)):
        head, tail = _LEFT.search(before), _RIGHT.match(behind)
        assert head is not None and tail is not None, "both match nothing, too"
        return f"{head[0].lstrip(_SPACES)}{taken}{tail[0]}"
    return None


def _another_begins(right: str, behind: str) -> bool:
    """Return whether the pattern itself has the mark there, and a digit behind it."""
    first, second = [*_items(right), None, None][:2]
    return _is_mark(first, behind[:1]) and _is_digit(second)


def _another_ended(left: str, before: str) -> bool:
    """Return whether the pattern itself has the mark there, and a digit before it; or a dash."""
    first, second = [None, None, *_items(left)][-2:]
    sign = before[-1:] in ("-", "\N{MINUS SIGN}")
    return _is_mark(second, before[-1:]) and (sign or _is_digit(first))


def _items(side: str) -> list[re.Match[str] | None]:
    """Return what a pattern has on one side of the group, character by character of the text.

    Of groups only what stands in them is looked at. None stands for what is not understood here,
    such as a group that is repeated, or that has several branches.
    """
    items: list[re.Match[str] | None] = []
    place = 0
    while place < len(side):
        if "|" not in side and (group := _GROUP.match(side, place)):
            place = group.end()
            continue
        item = _ITEM.match(side, place)
        items.append(item)
        place = item.end() if item else place + (2 if side[place] == "\\" else 1)
    return items


def may_be_none(item: re.Match[str]) -> bool:
    """Return whether what a pattern has there, in ``one`` and ``many``, may take no character."""
    return re.match(r"[*?]|\{0*[,}]", item["many"] or "") is not None


def _is_mark(item: re.Match[str] | None, mark: str) -> bool:
    """Return whether *item* takes *mark*, always, and is no wider than that; a blank is any."""
    if item is None or may_be_none(item):
        return False
    if mark == " " and (item["one"] == r"\s" or _BLANKS.fullmatch(item["one"])):
        return True
    return item["one"] in (f"\\{mark}", mark) and item["one"] != "."


def _is_digit(item: re.Match[str] | None) -> bool:
    """Return whether *item* takes digits, and no words beside them."""
    if item is None or item["one"] == "." or item["one"].startswith("[^"):
        return False
    try:
        takes = re.compile(item["one"])
    except re.error:
        return False  # it stands in a remark: nothing says that it is an expression
    return any(map(takes.fullmatch, "0123456789")) and not any(map(takes.fullmatch, "z "))


def _beside_the_group(pattern: str) -> tuple[str, str]:
    """Return what a pattern has before the group ``value``, and behind it."""
    left, _, rest = pattern.partition("(?P<value>")
    depth, within, place = 1, False, 0
    while place < len(rest) and depth:
        sign = rest[place]
        if sign == "\\":
            place += 1
        elif within:
            within = sign != "]"
        elif sign == "[":
            within = True
            place += rest[place + 1 : place + 2] in ("]", "^")  # the first "]" is itself
        else:
            depth += (sign == "(") - (sign == ")")
        place += 1
    return left, rest[place:]
