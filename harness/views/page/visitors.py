"""Who may act on the page: the token that is shown once, and the sessions made from it.

Touches the system's source of chance, and disk for the token's own file. Sessions are held in
memory: when the page is started anew, everybody names themselves again.
"""

from __future__ import annotations

import hmac
import os
import secrets
import stat
from dataclasses import dataclass
from pathlib import Path

from harness.errors import AskedError, Problem

SESSION_S = 12 * 3600.0  #: a night; then the token is asked for again
MOST_SESSIONS = 64
MOST_NAME = 60  #: characters of a person's name
LEAST_TOKEN = 20  #: characters of a token that a person wrote


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """A person who has shown the token.

    ``csrf`` stands in every form of the session and must come back with it.
    """

    name: str
    csrf: str
    until_s: float


class Visitors:
    """The sessions of one page.

    Args:
        token: What must be shown for a session.
    """

    def __init__(self, token: str) -> None:
        self._token = token.encode()
        self._sessions: dict[str, Session] = {}

    def knows(self, token: str) -> bool:
        """Return whether *token* is the page's; as slow for a near miss as for any other."""
        return hmac.compare_digest(token.encode(), self._token)

    def admit(self, name: str, *, now_s: float) -> tuple[str, Session]:
        """Return the id of a new session for *name*, and the session. The oldest goes first."""
        self._forget(now_s)
        while len(self._sessions) >= MOST_SESSIONS:
            del self._sessions[next(iter(self._sessions))]
        key = secrets.token_urlsafe(32)
        session = Session(name=name, csrf=secrets.token_urlsafe(32), until_s=now_s + SESSION_S)
        self._sessions[key] = session
        return key, session

    def session(self, key: str | None, *, now_s: float) -> Session | None:
        """Return the session with the id *key*, unless there is none or it is over."""
        found = self._sessions.get(key or "")
        return found if found is not None and found.until_s > now_s else None

    def dismiss(self, key: str | None) -> None:
        """End a session."""
        self._sessions.pop(key or "", None)

    def _forget(self, now_s: float) -> None:
        over = [key for key, each in self._sessions.items() if each.until_s <= now_s]
        for key in over:
            del self._sessions[key]


def name_of(text: str) -> str | None:
    """Return a person's name as it is kept, blanks put in order; None where it is none."""
    name = " ".join(text.split())
    return name if 0 < len(name) <= MOST_NAME and name.isprintable() else None


def kept_token(path: Path) -> str:
    """Return the token in the file *path*; make one, for its owner alone, where there is none.

    Raises:
        AskedError: others may read the file, it holds no token, or it cannot be used.
    """
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read(path)
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True)
        return kept_token(path)
    except OSError as error:
        raise _unusable(path, error.strerror or str(error)) from error
    token = secrets.token_urlsafe(24)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(token + "\n")
    return token


def _read(path: Path) -> str:
    try:
        mode = path.stat().st_mode
        token = path.read_text(encoding="utf-8").strip()
    except (OSError, ValueError) as error:
        raise _unusable(path, str(error)) from error
    if os.name == "posix" and stat.S_IMODE(mode) & 0o077:
        raise AskedError(
            Problem(
                code="token-open",
                what="others on this machine may read the page's token",
                where=(str(path),),
                do=f"chmod 600 {path}, and write another token in it",
            )
        )
    if len(token) < LEAST_TOKEN or not token.isprintable() or " " in token:
        raise _unusable(path, f"it holds no token of {LEAST_TOKEN} characters or more, no blank")
    return token


def _unusable(path: Path, why: str) -> AskedError:
    return AskedError(
        Problem(
            code="no-token",
            what=f"the page's token cannot be had: {why}",
            where=(str(path),),
            do="remove the file, and a new token is made; or name another with --token-file",
        )
    )
