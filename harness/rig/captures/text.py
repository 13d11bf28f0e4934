"""Bytes -> lines of UTF-8 text, in pieces of whole lines.

Pure. What is settled here, before anything is taken apart: the encoding (by byte-order
mark, else as declared, else UTF-8; never guessed), what a power cut leaves at the end (NUL
bytes, Ctrl-Z), line ends of every kind, and whether the last line is complete.

Numbers and marks are ASCII. Other bytes only stand in text fields, so a file that is not
quite UTF-8 is read, with a note: nothing is counted or compared with what was replaced.
"""

from __future__ import annotations

from collections.abc import Iterator

from harness.rig.captures.trouble import AGAIN, Trouble

#: A line longer than this is no row of a frame log.
LONGEST_LINE_BYTES = 4 << 20

# Longest first: the mark of UTF-32 begins like the one of UTF-16.
_MARKS: tuple[tuple[bytes, str], ...] = (
    (b"\xff\xfe\x00\x00", "utf-32-le"),
    (b"\x00\x00\xfe\xff", "utf-32-be"),
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)


class Piece:
    """Whole lines of the text, each ended by a line feed.

    Args:
        body: The lines.
        final: Whether they are the last.
        rest: What stands after the last line end of the text; empty but in the final piece.
    """

    __slots__ = ("body", "final", "rest")

    def __init__(self, body: bytes, *, final: bool, rest: bytes = b"") -> None:
        self.body = body
        self.final = final
        self.rest = rest


def pieces(
    blocks: Iterator[bytes], encoding: str | None, *, notes: list[str], voids: list[Trouble]
) -> Iterator[Piece]:
    """Yield the text in pieces of whole lines.

    The final piece is never small where there are others, so that what the end of a table
    needs (a footer, a summary) stands in it whole. What the end of the file says about the
    recording is added to *voids*.

    Raises:
        Trouble: the encoding is unknown or wrong, NUL bytes stand in the text, or it is empty.
    """
    first = next(blocks, b"")
    if not first:
        raise Trouble("empty-capture", "the file has no bytes: 0 frames", do=AGAIN)
    codec, skip = _encoding(first, encoding)
    if skip:
        notes.append(f"byte-order mark of {codec} removed")
    text = _decoded(first[skip:], blocks, codec, voids)
    return _cut(_line_ends(_tail_removed(text, notes, voids)), notes)


def _encoding(head: bytes, encoding: str | None) -> tuple[str, int]:
    """Return the codec and the length of the byte-order mark."""
    wanted = None if encoding is None else _codec_name(encoding)
    for mark, codec in _MARKS:
        if head.startswith(mark):
            if wanted is not None and not codec.startswith(wanted.removesuffix("-sig")):
                raise Trouble(
                    "encoding-wrong",
                    f"the file begins with the byte-order mark of {codec}, not of {encoding}",
                    do=f"declare encoding {codec}, or none",
                )
            return codec, len(mark)
    if wanted in ("utf-16", "utf-32"):
        raise Trouble(
            "encoding-unknown",
            f"the file has no byte-order mark, so {wanted} may be either way round",
            do=f"declare encoding {wanted}-le or {wanted}-be",
        )
    if wanted is None:
        _refuse_wide(head)
    return wanted or "utf-8", 0


def _codec_name(encoding: str) -> str:
    import codecs

    try:
        info = codecs.lookup(encoding)
        known = isinstance(info.incrementaldecoder("strict").decode(b""), str)
    except (LookupError, TypeError, ValueError, AttributeError):
        known = False
    if not known or encoding.lower().replace("_", "-") in ("idna", "punycode", "undefined"):
        raise Trouble(
            "encoding-wrong",
            f"there is no text encoding called {encoding!r}",
            do="declare utf-8, utf-16-le, utf-16-be, cp1252, latin-1 or another by its usual name",
        )
    return str(codecs.lookup(encoding).name)


def _refuse_wide(head: bytes) -> None:
    """Refuse text of two bytes a character without a mark: every second byte is NUL."""
    sample = head[:4096]
    if b"\0" not in sample or len(sample) < 4:
        return
    half = len(sample) // 2
    for start, codec in ((1, "utf-16-le"), (0, "utf-16-be")):
        if sample[start::2].count(0) > 0.8 * half and sample[1 - start :: 2].count(0) < 0.1 * half:
            raise Trouble(
                "encoding-unknown",
                f"every second byte is NUL, as in {codec}, and there is no byte-order mark",
                do=f"declare encoding {codec} if that is what the recorder writes",
            )


def _decoded(
    first: bytes, others: Iterator[bytes], codec: str, voids: list[Trouble]
) -> Iterator[bytes]:
    """Yield the blocks as UTF-8; bytes of another encoding are decoded strictly."""
    if codec in ("utf-8", "utf-8-sig", "ascii"):
        yield first
        yield from others
        return
    import codecs

    decoder = codecs.getincrementaldecoder(codec)("strict")
    block: bytes | None = first
    while block is not None:
        following = next(others, None)
        try:
            yield decoder.decode(block, following is None).encode("utf-8")
        except UnicodeDecodeError as error:
            if following is None and codec.startswith("utf-") and error.end == len(error.object):
                voids.append(Trouble("truncated", "the last character is cut in two", do=AGAIN))
                yield error.object[: error.start].decode(codec).encode("utf-8")
                return
            raise Trouble(
                "encoding-wrong",
                f"the bytes {error.object[error.start : error.start + 4].hex(' ')} are not "
                f"{codec} ({error.reason})",
                do="declare the encoding that the recorder writes",
            ) from error
        block = following


def _tail_removed(
    blocks: Iterator[bytes], notes: list[str], voids: list[Trouble]
) -> Iterator[bytes]:
    """Yield the blocks without Ctrl-Z or NUL bytes at the very end.

    NUL bytes at the end are what a disk had no time to write: the recording went on.
    """
    offset = 0
    nul_at: int | None = None
    pending = b""
    for block in blocks:
        at = offset
        offset += len(block)
        if nul_at is not None:
            if block.strip(b"\0"):
                raise _nul_inside(nul_at)
            continue
        kept = block
        if b"\0" in block:
            nul_at = at + block.index(b"\0")
            kept = block.rstrip(b"\0")
            if b"\0" in kept:
                raise _nul_inside(nul_at)
        if pending:
            yield pending
        pending = kept
    if nul_at is not None:
        voids.append(
            Trouble(
                "truncated",
                f"from byte {nul_at} to the end there are {offset - nul_at} NUL bytes: "
                "the rest was never written",
                do=AGAIN,
            )
        )
    stripped = pending.rstrip(b"\x1a")
    if len(stripped) < len(pending):
        notes.append("Ctrl-Z at the end of the file removed")
    yield stripped


def _nul_inside(offset: int) -> Trouble:
    return Trouble(
        "nul-bytes",
        f"NUL bytes stand inside the text, the first at byte {offset}",
        do="declare the encoding if this is text of two bytes a character; else see what "
        "wrote the file",
    )


def _line_ends(blocks: Iterator[bytes]) -> Iterator[bytes]:
    """Yield the blocks with every line end as one line feed."""
    held = b""
    for block in blocks:
        if not held and b"\r" not in block:
            yield block
            continue
        data = held + block
        # A carriage return at the end may be half of a pair.
        held = b"\r" if data.endswith(b"\r") else b""
        if held:
            data = data[:-1]
        yield data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if held:
        yield b"\n"


def _cut(blocks: Iterator[bytes], notes: list[str]) -> Iterator[Piece]:
    """Yield pieces of whole lines; the last block goes with the one before if it is small."""
    body = b""  # whole lines, not yet given out
    rest = b""  # the beginning of a line
    clean = True
    for block in blocks:
        clean = clean and _is_utf8(block)
        end = block.rfind(b"\n") + 1
        if not end:
            rest += block
        else:
            if min(len(body), len(block)) >= SMALL_BYTES:
                yield Piece(body, final=False)
                body = b""
            lines = b"".join((rest, memoryview(block)[:end])) if rest or end < len(block) else block
            body = body + lines if body else lines
            rest = block[end:]
        if len(rest) > LONGEST_LINE_BYTES:
            raise Trouble(
                "line-too-long",
                f"no line ends for {len(rest)} bytes: this is no table of frames",
                do="name the file that the recorder wrote",
            )
    if not clean:
        notes.append(
            "text fields hold bytes that are not UTF-8; they are shown as \N{REPLACEMENT CHARACTER}"
        )
    yield Piece(body, final=True, rest=rest)


SMALL_BYTES = 1 << 20


def _is_utf8(block: bytes) -> bool:
    if block.isascii():
        return True
    try:
        block.decode("utf-8")
    except UnicodeDecodeError:
        # A character may be cut in two where two blocks meet: at either end of this one.
        middle = block[:4].lstrip(_CONTINUATIONS) + block[4:]
        try:
            middle.decode("utf-8")
        except UnicodeDecodeError as error:
            return error.end == len(middle) and error.reason == "unexpected end of data"
    return True


_CONTINUATIONS = bytes(range(0x80, 0xC0))
