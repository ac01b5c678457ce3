"""The names and addresses under which this machine is asked, where others can reach it."""

from __future__ import annotations

import contextlib
import ipaddress
import socket

import ifaddr

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


def is_loopback(host: str) -> bool:
    """Whether only this machine reaches ``host``."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"


def own_addresses() -> tuple[str, ...]:
    """This machine's addresses, those that others reach first: IPv4, then IPv6."""
    found = []
    for adapter in ifaddr.get_adapters():
        for each in adapter.ips:
            text = each.ip if isinstance(each.ip, str) else each.ip[0]
            with contextlib.suppress(ValueError):
                found.append(ipaddress.ip_address(text.partition("%")[0]))
    found.sort(key=lambda one: (one.is_loopback, one.version, one.is_link_local, one))
    return tuple(dict.fromkeys(str(one) for one in found))


def served_names(host: str) -> tuple[str, ...]:
    """Every name and address by which a service on ``host`` may be asked, the best first."""
    own = socket.gethostname().lower()
    try:
        given = ipaddress.ip_address(host)
    except ValueError:
        return (host.lower(),)
    if not given.is_unspecified:
        return (str(given), own, f"{own}.local")
    here = own_addresses()
    if given.version == 4:
        here = tuple(each for each in here if ":" not in each)
    return tuple(dict.fromkeys((*here, own, f"{own}.local", "localhost", "127.0.0.1")))


def as_host(name: str) -> str:
    """A name as it stands in an address."""
    return f"[{name}]" if ":" in name else name
