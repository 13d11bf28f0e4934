from __future__ import annotations

import pytest

from harness.views.page.door import Door, door, is_loopback


def test_on_this_machine_it_answers_to_its_own_names_with_their_port() -> None:
    found = door(host="127.0.0.1", port=8017, names=(), tls=False, proxy=False)
    assert found.hosts == {"localhost:8017", "127.0.0.1:8017", "[::1]:8017"}
    assert "http://localhost:8017" in found.origins
    assert not found.token_to_read


def test_at_the_usual_port_a_browser_leaves_the_port_out() -> None:
    found = door(host="rig-7.lan", port=443, names=(), tls=True, proxy=False)
    assert found.hosts == {"rig-7.lan", "rig-7.lan:443"}
    assert found.token_to_read


def test_behind_a_proxy_it_answers_to_the_name_outside_alone() -> None:
    found = door(host="127.0.0.1", port=8017, names=("Bench.Lab",), tls=False, proxy=True)
    assert found == Door(hosts=frozenset({"bench.lab"}), scheme="https", token_to_read=True)


@pytest.mark.parametrize(
    ("host", "here"),
    [("localhost", True), ("127.0.0.1", True), ("127.8.0.1", True), ("::1", True),
     ("[::1]", True), ("0.0.0.0", False), ("192.0.2.7", False), ("localhost.example", False)],
)  # fmt: skip
def test_an_address_of_this_machine_is_known(host: str, here: bool) -> None:
    """RFC 1122 3.2.1.3 (127/8), RFC 4291 2.5.3 (::1)."""
    assert is_loopback(host) is here
