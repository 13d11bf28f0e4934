"""TLS by files: a real handshake with a certificate made here, and nothing in the clear."""

from __future__ import annotations

import http.client
import shutil
import socket
import ssl
import subprocess
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from tests.end_to_end.browsers import Served, page_process
from tests.end_to_end.runs import Place

OPENSSL = shutil.which("openssl")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(OPENSSL is None, reason="there is no openssl here to make a certificate"),
]


def certificate(folder: Path, name: str) -> tuple[Path, Path]:
    """Make a certificate for localhost that is good for a day; return it and its key."""
    made, key = folder / f"{name}.pem", folder / f"{name}.key"
    subprocess.run(
        [
            *(str(OPENSSL), "req", "-x509", "-nodes", "-days", "1", "-subj", "/CN=localhost"),
            *("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1"),
            *("-addext", "subjectAltName=DNS:localhost"),
            *("-keyout", str(key), "-out", str(made)),
        ],
        check=True,
        capture_output=True,
    )
    return made, key


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("tls")


@pytest.fixture(scope="module")
def served(folder: Path) -> Iterator[tuple[Served, int, Path]]:
    made, key = certificate(folder, "rig")
    options = ("--host", "0.0.0.0", "--name", "localhost", "--tls-certificate", str(made))
    place = Place(folder)
    with page_process(
        place.environment(), folder=folder, options=(*options, "--tls-key", str(key))
    ) as found:
        address = urlsplit(found.address)
        assert (address.scheme, address.hostname) == ("https", "localhost")
        port = address.port
        assert port is not None
        yield found, port, made


def test_the_page_comes_over_tls_and_only_with_the_token(served: tuple[Served, int, Path]) -> None:
    page, port, made = served
    trusted = ssl.create_default_context(cafile=str(made))  # this one alone, and the name checked
    line = http.client.HTTPSConnection("localhost", port, context=trusted, timeout=20)
    line.request("GET", "/api/look")
    refused = line.getresponse()
    assert (refused.status, b"token-needed" in refused.read()) == (401, True)
    line.request("GET", "/api/look", headers={"Authorization": f"Bearer {page.token}"})
    assert line.getresponse().status == 200
    assert line.sock is None or isinstance(line.sock, ssl.SSLSocket)
    line.close()


def test_a_client_that_trusts_others_only_is_not_let_in(served: tuple[Served, int, Path]) -> None:
    _, port, _ = served
    line = http.client.HTTPSConnection("localhost", port, timeout=20)
    with pytest.raises(ssl.SSLCertVerificationError):
        line.request("GET", "/")


def test_old_tls_is_refused(served: tuple[Served, int, Path]) -> None:
    _, port, made = served
    old = ssl.create_default_context(cafile=str(made))
    old.set_ciphers("DEFAULT:@SECLEVEL=0")  # or the client's own side refuses first
    with pytest.warns(DeprecationWarning, match="TLSv1"):
        old.minimum_version, old.maximum_version = ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1
    with (
        socket.create_connection(("localhost", port), timeout=20) as plain,
        pytest.raises((ssl.SSLError, ConnectionError)),
    ):
        old.wrap_socket(plain, server_hostname="localhost")


def test_who_comes_in_the_clear_is_told_so_and_given_nothing(
    served: tuple[Served, int, Path],
) -> None:
    page, port, _ = served
    line = http.client.HTTPConnection("localhost", port, timeout=20)
    line.request("GET", "/api/look", headers={"Authorization": f"Bearer {page.token}"})
    answer = line.getresponse()
    said = answer.read().decode()
    assert (answer.status, answer.headers["connection"]) == (400, "close")
    assert said == "This page speaks TLS only: write https:// in its address.\n"
    line.close()
    with socket.create_connection(("localhost", port), timeout=20) as noise:
        noise.sendall(b"\x00\x01 neither the one nor the other\r\n\r\n")
        assert noise.recv(100)[:5] != b"HTTP/"


@pytest.mark.parametrize(
    ("case", "said"),
    [
        ("another's", "key values mismatch"),
        ("no PEM", "no PEM"),
        ("none", "No such file or directory"),
        ("with a password", "the key has a password"),
    ],
)
def test_files_that_cannot_be_used_are_told_before_anything_is_served(
    folder: Path, case: str, said: str
) -> None:
    made, key = certificate(folder, "one")
    match case:
        case "another's":
            _, key = certificate(folder, "two")
        case "no PEM":
            made.write_text("not a certificate", encoding="ascii")
        case "none":
            made = folder / "none.pem"
        case _:
            locked = folder / "locked.key"
            subprocess.run(
                [
                    *(str(OPENSSL), "pkey", "-aes256", "-passout", "pass:word"),
                    *("-in", str(key), "-out", str(locked)),
                ],
                check=True,
                capture_output=True,
            )
            key = locked
    place = Place(folder)
    status, _, err = place.harness(
        "page", "--port", "0", "--tls-certificate", str(made), "--tls-key", str(key)
    )
    assert status == 2
    assert "error[no-tls]: the certificate and its key cannot be used:" in err
    assert said.lower() in err.lower()
