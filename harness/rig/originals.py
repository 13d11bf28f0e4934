"""Files put in a title's place for a pass, and what lay there before, given back after it.

Touches disk. What lay there is copied into the rig's state folder, durably, before the file
is touched; that copy is the debt. It is paid after the pass, whatever became of it, and at the
next start after a crash, before anything else, by whichever runner comes first. A file is
always replaced whole: who opens it sees the one or the other.
"""

from __future__ import annotations

import contextlib
import filecmp
import json
import os
import shutil
import stat
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from harness.rig.hold import Hold
from harness.rig.holds import Holds


class FileTrouble(Exception):
    """A file cannot be put, watched or given back; the text says which and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Debt:
    """What one file is owed: its former content, or that it was not there (``absent``)."""

    id: str
    target: str
    absent: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Paid:
    """What came of paying debts: files given back, and (debt, why it could not be paid)."""

    given_back: tuple[str, ...] = ()
    unpaid: tuple[tuple[Debt, str], ...] = ()


class Originals:
    """The originals of files that a rig's titles have lent, in the rig's state folder.

    Args:
        state: The folder of the rig's own state.
    """

    def __init__(self, state: Path) -> None:
        self.folder = state / "originals"

    def put(self, source: Path, target: Path, *, owner: str, give_back: bool) -> None:
        """Put the content of *source* at *target*; what lay there is kept first.

        Args:
            source: A plain file, or a link to one.
            target: Where it is put; its folder must be there.
            owner: Names the pass; together with a number it names the debt.
            give_back: Whether what lay there is to be given back.

        Raises:
            FileTrouble: it cannot be done; *target* is as it was.
        """
        target = Path(os.path.abspath(target))  # noqa: PTH100 - resolve() would follow a link
        before = _fit_to_be_replaced(target)
        if not source.exists():
            raise FileTrouble(f"{source} is to be put in place and is not there")
        if not source.is_file():
            raise FileTrouble(f"{source} is to be put in place and is no plain file")
        try:
            if before is not None and filecmp.cmp(source, target, shallow=False):
                return
            if give_back:
                self._keep(target, owner=owner, absent=before is None)
            _replace(target, source, like=before)
        except OSError as error:
            raise FileTrouble(f"{target} cannot be put in place: {_word(error)}") from error

    def owed(self) -> tuple[Debt, ...]:
        """Return every debt that stands, oldest first."""
        found = [_read(path) for path in _entries(self.folder)]
        return tuple(sorted(found, key=lambda debt: _number(debt.id)))

    def pay(self, *, after_crash: bool = False) -> Paid:
        """Give every file back; the latest first.

        Args:
            after_crash: Somebody else may have changed a file since it was put: what lies
                there now is then kept beside the originals, under ``found-…``.
        """
        given_back, unpaid = [], []
        for debt in reversed(self.owed()):
            try:
                if self._pay(debt, after_crash=after_crash):
                    given_back.append(debt.target)
            except (OSError, FileTrouble) as error:
                word = _word(error) if isinstance(error, OSError) else str(error)
                unpaid.append((debt, word))
        return Paid(given_back=tuple(given_back), unpaid=tuple(unpaid))

    def forgive(self, debt: Debt) -> None:
        """Take a debt off the books: a person has put the file right. Its original stays."""
        (self.folder / debt.id).rename(self.folder / f"settled-{debt.id}")
        _sync(self.folder)

    def _keep(self, target: Path, *, owner: str, absent: bool) -> None:
        """Copy what lies at *target* into the folder, durably, before it is touched."""
        self.folder.mkdir(parents=True, exist_ok=True)
        number = 1 + max((_number(path.name) for path in self.folder.iterdir()), default=0)
        debt = Debt(id=f"{owner}.{number}", target=str(target), absent=absent)
        unfinished = self.folder / f".{debt.id}"
        shutil.rmtree(unfinished, ignore_errors=True)
        unfinished.mkdir()
        if not absent:
            _copy(target, unfinished / "original")
        note = unfinished / "note.json"
        note.write_text(json.dumps(asdict(debt), indent=1) + "\n", encoding="utf-8")
        for path in (note, unfinished):
            _sync(path)
        unfinished.rename(self.folder / debt.id)
        _sync(self.folder)
        _sync(self.folder.parent)

    def _pay(self, debt: Debt, *, after_crash: bool) -> bool:
        """Give one file back; return whether it had to be changed for that."""
        target, kept = Path(debt.target), self.folder / debt.id
        if not debt.target:
            raise FileTrouble(f"which file it is of cannot be read: {kept / 'note.json'}")
        original = kept / "original"
        if target.is_symlink() or (target.exists() and not target.is_file()):
            raise FileTrouble("something that is no plain file lies in its place")
        there = target.exists()
        if debt.absent:
            changed = there
        else:
            changed = not (there and filecmp.cmp(original, target, shallow=False))
        if changed:
            if after_crash and there:
                _copy(target, self.folder / f"found-{debt.id}")
            if debt.absent:
                target.unlink()
                _sync(target.parent)
            else:
                _replace(target, original, like=original.stat(), times=True)
        kept.rename(self.folder / f".paid-{debt.id}")
        shutil.rmtree(self.folder / f".paid-{debt.id}", ignore_errors=True)
        return changed


def _fit_to_be_replaced(target: Path) -> os.stat_result | None:
    """Return the state of *target*, None where nothing is there; refuse what cannot be lent."""
    try:
        state = target.lstat()
    except FileNotFoundError:
        if target.parent.is_dir():
            return None
        raise FileTrouble(f"{target} cannot be put in place: its folder is not there") from None
    except OSError as error:
        raise FileTrouble(f"{target} cannot be put in place: {_word(error)}") from error
    if stat.S_ISLNK(state.st_mode):
        raise FileTrouble(f"{target} is a link; name the file it leads to ({target.resolve()})")
    if not stat.S_ISREG(state.st_mode):
        raise FileTrouble(f"{target} is there and is no plain file")
    if state.st_nlink > 1:
        names = f"{state.st_nlink} names (hard links)"
        raise FileTrouble(f"{target} has {names}; replacing it would part them")
    if not state.st_mode & 0o222:
        raise FileTrouble(f"{target} is read-only; let it be written, or take it out of put")
    return state


def _replace(
    target: Path, source: Path, *, like: os.stat_result | None, times: bool = False
) -> None:
    """Replace *target* by the content of *source*, whole and durably.

    Args:
        target: The file.
        source: Where its content comes from.
        like: Whose mode and owner it gets; None: as a new file.
        times: Whether it also gets the times of *source*.
    """
    unfinished = target.with_name(f".{target.name}.harness-{os.getpid()}")
    try:
        shutil.copyfile(source, unfinished)
        if like is not None:
            unfinished.chmod(stat.S_IMODE(like.st_mode))
            with contextlib.suppress(PermissionError):  # only its owner can give a file away
                os.chown(unfinished, like.st_uid, like.st_gid)
        if times:
            shutil.copystat(source, unfinished)
        _sync(unfinished)
        unfinished.replace(target)
    except OSError:
        unfinished.unlink(missing_ok=True)
        raise
    _sync(target.parent)


def _copy(source: Path, target: Path) -> None:
    """Copy a file with its mode, owner and times, durably but for its folder."""
    shutil.copy2(source, target)
    state = source.stat()
    with contextlib.suppress(PermissionError):
        os.chown(target, state.st_uid, state.st_gid)
    _sync(target)


def _entries(folder: Path) -> Iterator[Path]:
    for path in folder.iterdir() if folder.is_dir() else ():
        if not path.name.startswith((".", "settled-", "found-")) and path.is_dir():
            yield path


def _read(path: Path) -> Debt:
    """Return the debt in *path*; one that cannot be read is a debt too, of an unknown file."""
    try:
        return Debt(**json.loads((path / "note.json").read_bytes()))
    except (OSError, ValueError, TypeError):
        return Debt(id=path.name, target="", absent=False)


def _number(id_: str) -> int:
    text = id_.rpartition(".")[2]
    return int(text) if text.isdecimal() else 0


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _word(error: OSError) -> str:
    return error.strerror or str(error)


def pay_debts(originals: Originals, *, holds: Holds, now: datetime) -> tuple[str, ...]:
    """Give back whatever an earlier runner had lent; return what was given back.

    What cannot be given back holds the rig. Once a person has released such a hold, the file
    is theirs: the debt is taken off the books, and its original is kept.
    """
    released = {release.hold for release in holds.releases()}
    for debt in originals.owed():
        if _hold_of(debt) in released:
            originals.forgive(debt)
    paid = originals.pay(after_crash=True)
    for debt, why in paid.unpaid:
        target = debt.target or "a file of a title"
        original = "nothing lay there before" if debt.absent else originals.folder / debt.id
        holds.hold(
            Hold(
                id=_hold_of(debt),
                run=debt.id.partition(".")[0],
                reason=f"{target} is what a pass had put there, and cannot be given back: {why}",
                do=f"put the file right by hand (its original: {original})",
                at=now.isoformat(),
            )
        )
    return paid.given_back


def _hold_of(debt: Debt) -> str:
    return f"files-{debt.id}"
