"""Where the page listens, by which names it may be called, and what has to be so first. Pure."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

PORT = 8460
OUR_NAMES = frozenset({"localhost", "127.0.0.1", "[::1]"})
_NAME = re.compile(r"(?!-)[a-z0-9-]{1,63}(\.[a-z0-9-]{1,63})*\Z")


class AddressError(ValueError):
    """The page will not listen there, or not so. The message says why and what to do instead."""


@dataclass(frozen=True, slots=True)
class Place:
    """names: that a browser may call it by, beside OUR_NAMES and the address that was called.

    certificate, key: files, for TLS. behind_proxy: a reverse proxy on this box speaks TLS for it.
    """

    address: str = "127.0.0.1"
    port: int = PORT
    names: frozenset[str] = frozenset()
    certificate: Path | None = None
    key: Path | None = None
    behind_proxy: bool = False

    @property
    def by_tls(self) -> bool:
        """Whether a browser meets it by TLS, ours or a proxy's."""
        return self.certificate is not None or self.behind_proxy

    @property
    def loopback(self) -> bool:
        """Whether only this box can reach it."""
        return _loopback(self.address)

    def is_ours(self, host: str, called: str) -> bool:
        """Whether a Host header names this page, with any port. called: the address the connection came to."""
        name = re.sub(r":[0-9]{1,5}\Z", "", host).lower()
        return name in OUR_NAMES or name in self.names or name == _as_host(called)


def placed(
    address: str,
    port: int,
    *,
    names: Sequence[str] = (),
    certificate: Path | None = None,
    key: Path | None = None,
    behind_proxy: bool = False,
    has_password: bool,
) -> Place:
    """The place, if it is a safe one. Raises AddressError."""
    _parsed(address)
    if (certificate is None) != (key is None):
        raise AddressError("--certificate and --key: one is of no use without the other")
    if behind_proxy and certificate is not None:
        raise AddressError("--behind-proxy: the proxy speaks TLS, so leave out --certificate and --key")
    if behind_proxy and not _loopback(address):
        raise AddressError(
            f"--behind-proxy with --address {address}: only a proxy on this box may reach it: leave --address out"
        )
    if (behind_proxy or not _loopback(address)) and not has_password:
        what = "--behind-proxy" if behind_proxy else f"--address {address}"
        raise AddressError(
            f"{what}: others could reach the page, and no password is set. Set one at the tank: "
            f"evenwater page --set-password. Or look from elsewhere through: {_tunnel(port)}"
        )
    if certificate is None and not _loopback(address):
        raise AddressError(
            f"--address {address}: without TLS anyone on the network could read the password along. Give "
            "--certificate and --key, or leave --address out and put a reverse proxy on this box before it "
            f"(--behind-proxy), or look through: {_tunnel(port)}"
        )
    return Place(address, port, frozenset(map(_named, names)), certificate, key, behind_proxy)


def _tunnel(port: int) -> str:
    return f"ssh -L {port}:127.0.0.1:{port} the-box"


def _named(name: str) -> str:
    if not _NAME.match(name.lower()):
        raise AddressError(f"--name {name}: must be a host name as a browser is given it, as box.lan is one")
    return name.lower()


def _parsed(address: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    try:
        return ipaddress.ip_address(address)
    except ValueError:
        raise AddressError(
            f"--address {address}: must be an IP address of this box: 127.0.0.1 (this box only), 0.0.0.0 (all)"
        ) from None


def _loopback(address: str) -> bool:
    return _parsed(address).is_loopback


def _as_host(address: str) -> str:
    """An address as a Host header has it."""
    plain = address.removeprefix("::ffff:")
    return f"[{plain}]" if ":" in plain else plain
