"""TLS by files; and a word to whoever comes in the clear.

Touches disk: the certificate and its key are read once. A browser that is sent to ``http://`` on
the page's port would be told nothing but that the connection was broken off; it is answered with
one sentence instead, and no request in the clear is ever read.
"""

from __future__ import annotations

import ssl

from harness.errors import AskedError, Problem

_SAY = b"This page speaks TLS only: write https:// in its address.\n"
_ANSWER = (
    b"HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain\r\nContent-Length: %d\r\n"
    b"Connection: close\r\n\r\n%b" % (len(_SAY), _SAY)
)


class _Handshake(ssl.SSLObject):
    """One connection's TLS. ``out`` is what goes to the visitor."""

    out: ssl.MemoryBIO
    _told: ssl.SSLError | None = None

    def do_handshake(self) -> None:
        if self._told is not None:
            raise self._told
        try:
            super().do_handshake()
        except ssl.SSLError as error:
            if error.reason != "HTTP_REQUEST":
                raise
            # What is waiting to go out goes where more is waited for, and not after a failure.
            self._told = error
            self.out.write(_ANSWER)
            raise ssl.SSLWantReadError from None


class _Context(ssl.SSLContext):
    sslobject_class = _Handshake

    def wrap_bio(
        self,
        incoming: ssl.MemoryBIO,
        outgoing: ssl.MemoryBIO,
        server_side: bool = False,
        server_hostname: str | bytes | None = None,
        session: ssl.SSLSession | None = None,
    ) -> ssl.SSLObject:
        made = super().wrap_bio(incoming, outgoing, server_side, server_hostname, session)
        assert isinstance(made, _Handshake)
        made.out = outgoing
        return made


def tls_of(certificate: str, key: str) -> ssl.SSLContext:
    """Return the TLS of a certificate and its key, two PEM files; TLS 1.2 at the least.

    Raises:
        AskedError: they cannot be read, or are not of each other.
    """
    made = _Context(ssl.PROTOCOL_TLS_SERVER)
    made.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        made.load_cert_chain(certificate, key, password=_no_password)
    except (OSError, ValueError) as error:  # an SSLError is an OSError
        raise AskedError(
            Problem(
                code="no-tls",
                what=f"the certificate and its key cannot be used: {_why(error)}",
                where=(certificate, key),
                do="name two PEM files that belong to each other and may be read, the key without "
                "a password",
            )
        ) from error
    return made


def _no_password() -> str:
    raise ValueError("the key has a password")


def _why(error: Exception) -> str:
    if isinstance(error, ssl.SSLError):
        return (error.reason or "no PEM").lower().replace("_", " ")
    return getattr(error, "strerror", None) or str(error)
