"""Under which names the page answers, and what a visitor must show.

Pure. A browser that was sent to a name that leads to this machine (DNS rebinding) still says
that name in ``Host``: whatever is not listed here is turned away before anything is read.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass

from harness.errors import AskedError, Problem

_USUAL_PORT = {"http": 80, "https": 443}


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """Where the page is reached.

    Args:
        hosts: What may stand in ``Host``, lower case, with the port where one is written.
        scheme: ``http`` or ``https``, as the visitor sees it.
        token_to_read: Whether the token is needed to look, too; it always is to act.
    """

    hosts: frozenset[str]
    scheme: str
    token_to_read: bool

    @property
    def origins(self) -> frozenset[str]:
        """Return what may stand in ``Origin``."""
        return frozenset(f"{self.scheme}://{host}" for host in self.hosts)


def is_loopback(host: str) -> bool:
    """Return whether *host* can be reached from this machine alone."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def is_everywhere(host: str) -> bool:
    """Return whether *host* is every address of this machine, and so the name of none."""
    return host.strip("[]") in ("0.0.0.0", "::", "")


def door(*, host: str, port: int, names: tuple[str, ...], tls: bool, proxy: bool) -> Door:
    """Return the door of a page bound to *host* and *port*.

    Args:
        host: The address or name that is bound.
        port: The port.
        names: Other names under which it is reached.
        tls: Whether the page itself speaks TLS.
        proxy: Whether something in front of it does.

    Raises:
        AskedError: it would be reached from outside in the clear, or under no known name.
    """
    loopback = is_loopback(host)
    if not loopback and not (tls or proxy):
        raise AskedError(
            Problem(
                code="page-in-the-clear",
                what=f"on {host} the page would be reached from outside without encryption",
                do="give --tls-certificate and --tls-key, or --behind-proxy where a proxy in front "
                "speaks TLS; or leave --host out: the page is then for this machine alone",
            )
        )
    everywhere = is_everywhere(host)
    if (everywhere or proxy) and not names:
        raise AskedError(
            Problem(
                code="page-without-name",
                what="it is not said under which name the page is reached",
                do="give --name with the name or address that people type, such as rig-7.lan",
            )
        )
    scheme = "https" if tls or proxy else "http"
    spelled = [_spelled(name) for name in names]
    if loopback and not proxy:
        spelled += ["localhost", "127.0.0.1", "[::1]"]
    if not everywhere and not proxy:
        spelled.append(_spelled(host))
    hosts = {name for each in spelled for name in _with_port(each, port, scheme, proxy=proxy)}
    return Door(hosts=frozenset(hosts), scheme=scheme, token_to_read=not loopback or proxy)


def _spelled(name: str) -> str:
    lower = name.lower().strip("[]")
    try:
        return f"[{lower}]" if ipaddress.ip_address(lower).version == 6 else lower
    except ValueError:
        return lower


def _with_port(name: str, port: int, scheme: str, *, proxy: bool) -> set[str]:
    if proxy:  # its port is not ours: a name may be given with one
        return {name}
    own = {f"{name}:{port}"}
    return own | {name} if port == _USUAL_PORT[scheme] else own
