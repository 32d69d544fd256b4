"""Where the page listens, and what has to be so first."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.page.place import AddressError, Place, placed

CERTIFICATE, KEY = Path("box.pem"), Path("box-key.pem")
LOOPBACKS = ["127.0.0.1", "127.0.0.5", "::1"]
NETWORK = ["0.0.0.0", "::", "192.0.2.7", "2001:db8::7"]


@pytest.mark.parametrize("address", LOOPBACKS)
@pytest.mark.parametrize("has_password", [True, False])
def test_loopback_needs_nothing(address: str, has_password: bool) -> None:
    """Any of it, with a password or without."""
    assert placed(address, 8460, has_password=has_password).loopback


@pytest.mark.parametrize("address", NETWORK)
def test_the_network_needs_a_password(address: str) -> None:
    """TLS alone is not enough; how to set one, and how to look without, is said."""
    with pytest.raises(AddressError, match=r"(?s)--set-password.*ssh -L 8460"):
        placed(address, 8460, certificate=CERTIFICATE, key=KEY, has_password=False)


@pytest.mark.parametrize("address", NETWORK)
def test_the_network_needs_tls(address: str) -> None:
    """A password alone is not enough: it would be read along."""
    with pytest.raises(AddressError, match=r"(?s)--certificate.*--behind-proxy"):
        placed(address, 8460, has_password=True)


@pytest.mark.parametrize("address", NETWORK)
def test_with_both_it_listens_on_the_network(address: str) -> None:
    """As it was asked."""
    place = placed(address, 8460, certificate=CERTIFICATE, key=KEY, has_password=True)
    assert (place.address, place.loopback, place.by_tls) == (address, False, True)


@pytest.mark.parametrize("address", NETWORK)
def test_a_proxy_is_on_this_box(address: str) -> None:
    """Nobody else may reach what is behind it."""
    with pytest.raises(AddressError, match="only a proxy on this box may reach it"):
        placed(address, 8460, behind_proxy=True, has_password=True)


def test_behind_a_proxy_there_is_a_password_too() -> None:
    """Others reach it through the proxy."""
    with pytest.raises(AddressError, match="--set-password"):
        placed("127.0.0.1", 8460, behind_proxy=True, has_password=False)
    assert placed("127.0.0.1", 8460, behind_proxy=True, has_password=True).by_tls


def test_half_of_tls_is_none() -> None:
    """Neither a certificate without its key, nor both and a proxy."""
    for certificate, key in ((CERTIFICATE, None), (None, KEY)):
        with pytest.raises(AddressError, match="without the other"):
            placed("127.0.0.1", 8460, certificate=certificate, key=key, has_password=True)
    with pytest.raises(AddressError, match="the proxy speaks TLS"):
        placed("127.0.0.1", 8460, certificate=CERTIFICATE, key=KEY, behind_proxy=True, has_password=True)


@pytest.mark.parametrize("address", ["localhost", "", "127.0.0.1.example", "192.168.0", "0x7f.1"])
def test_an_address_is_an_address(address: str) -> None:
    """A name may lead anywhere."""
    with pytest.raises(AddressError, match="must be an IP address"):
        placed(address, 8460, has_password=True)


@pytest.mark.parametrize("name", ["", "*", "box.lan:80", "http://box", "-box", "box..lan", "b\nox", "box.lan "])
def test_a_name_is_a_name(name: str) -> None:
    """No pattern, no port, no line break."""
    with pytest.raises(AddressError, match="must be a host name"):
        placed("127.0.0.1", 8460, names=[name], has_password=True)


@pytest.mark.parametrize(
    "host", ["localhost", "LOCALHOST:8460", "127.0.0.1:1", "[::1]:8460", "Box.lan", "box.lan:1"]
)
def test_our_own_names_are_let_in(host: str) -> None:
    """With any port: a reverse proxy or a tunnel has another."""
    assert placed("127.0.0.1", 8460, names=["BOX.lan"], has_password=False).is_ours(host, "127.0.0.1")


@pytest.mark.parametrize(
    ("host", "called"),
    [("192.0.2.7", "192.0.2.7"), ("192.0.2.7:8460", "::ffff:192.0.2.7"), ("[2001:db8::7]:8460", "2001:db8::7")],
)
def test_the_address_that_was_called_is_ours(host: str, called: str) -> None:
    """No name that somebody made to point here has it for a Host."""
    assert Place("0.0.0.0").is_ours(host, called)


@pytest.mark.parametrize(
    "host", ["evil.example", "192.0.2.8", "192.0.2.7.example", "localhost:x", "", "[::1", "x"]
)
def test_other_names_are_not(host: str) -> None:
    """Nor addresses of other boxes."""
    assert not Place("0.0.0.0").is_ours(host, "192.0.2.7")
