"""Addresses to serve on, and those at which others reach this machine."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import sys

from strokebench.errors import UsageError

BACKLOG = 1024
DOCUMENTATION = ("192.0.2.1", "2001:db8::1")
"""Addresses that nobody has (RFC 5737, RFC 3849)."""


def is_loopback(address: str) -> bool:
    """Tell whether only this machine can reach ``address``."""
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return address == "localhost"


def is_wildcard(address: str) -> bool:
    """Tell whether ``address`` means all addresses of this machine. No browser can open it."""
    try:
        return ipaddress.ip_address(address).is_unspecified
    except ValueError:
        return False


def reachable_address(wildcard: str) -> str:
    """Return the address at which others reach this machine, the loopback's when it has no network.

    Choosing a way to an address of the documentation's network sends nothing.
    """
    family, there = (
        (socket.AF_INET6, DOCUMENTATION[1]) if ":" in wildcard else (socket.AF_INET, DOCUMENTATION[0])
    )
    with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as asking:
        asking.connect((there, 9))
        return str(asking.getsockname()[0])
    return "::1" if ":" in wildcard else "127.0.0.1"


def own_names(listen: str) -> set[str]:
    """Return the host names under which the panel at ``listen`` may be asked for, lower case."""
    if is_loopback(listen):
        return {listen.lower()}
    host = socket.gethostname().lower()
    return {listen.lower(), host, f"{host.partition('.')[0]}.local"}


def listening_socket(address: str, port: int, option: str = "--http-port") -> socket.socket:
    """Return a bound socket; :class:`UsageError` names ``option`` when that cannot be."""
    try:
        family, kind, proto, _, where = socket.getaddrinfo(address, port, type=socket.SOCK_STREAM)[0]
        bound = socket.socket(family, kind, proto)
        if sys.platform != "win32":  # there the option would let two programs share the port
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind(where)
        bound.listen(BACKLOG)
    except (OSError, OverflowError) as error:
        raise UsageError(
            f"Cannot listen on {address}, port {port}: {error}.", f"Choose another with {option}."
        ) from None
    return bound
