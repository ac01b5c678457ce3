"""A service beyond this machine: its names, its certificate, and who gets in."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from calibration.errors import RestmarkError
from service.door import CODE_LASTS, Door, Entry, Role, SourceRule
from service.door import certificate as certificates
from service.door.names import LOOPBACK_NAMES, as_host, is_loopback, served_names
from service.door.qr import pairing_address, qr_lines


class AddressError(RestmarkError):
    """An address that no browser can ask."""

    code = "cannot-serve"


@dataclass(frozen=True, slots=True, kw_only=True)
class Beyond:
    """What was said at the start about how others reach the service."""

    pairing: bool = False
    """Let only paired devices in even where this machine alone reaches it."""
    tls: bool = True
    """Speak TLS where others reach it."""
    certificate: Path | None = None
    """A certificate's file, with its chain; None: one of this machine's own."""
    key: Path | None = None
    names: Sequence[str] = ()
    """Further names by which it is asked, of the network's own name service for instance."""
    public: str | None = None
    """Behind a proxy: the address that devices ask by."""
    folders: Sequence[Path] = ()
    """Folders that requests may name as sources of pictures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """How a listening service is reached."""

    addresses: tuple[str, ...]
    """Every address, the best first."""
    names: frozenset[str]
    entry: Entry | None
    """None: whoever reaches it comes in, which is this machine alone."""
    tls: ssl.SSLContext | None


def reached(listener: socket.socket, host: str, beyond: Beyond, data_dir: Path) -> Reached:
    """How ``listener``, opened on ``host``, is reached.

    Raises:
        CertificateError: TLS cannot be spoken with what was given.
        AddressError: the public address is none.
    """
    port = listener.getsockname()[1]
    is_near = is_loopback(host)
    has_tls = beyond.certificate is not None or (beyond.tls and not is_near)
    scheme = "https" if has_tls else "http"
    public = None if beyond.public is None else _public(beyond.public)
    given = tuple(name.lower() for name in beyond.names)
    if public is not None:
        given = (str(urlsplit(public).hostname), *given)
    if is_near and not given:
        at = listener.getsockname()[0]
        names: tuple[str, ...] = (at, *sorted(LOOPBACK_NAMES - {at}))
        shown: tuple[str, ...] = (at,)
    else:
        served = served_names(host) if not is_near else (host, *sorted(LOOPBACK_NAMES - {host}))
        names = shown = tuple(dict.fromkeys((*given, *served)))
    addresses = tuple(f"{scheme}://{as_host(name)}:{port}/" for name in shown)
    found = None
    if has_tls:
        found = (
            certificates.own(data_dir, names)
            if beyond.certificate is None or beyond.key is None
            else certificates.given(beyond.certificate, beyond.key)
        )
    entry = None
    if beyond.pairing or not is_near or given:
        entry = Entry(
            address=addresses[0] if public is None else public,
            # what the browser speaks counts, not what the proxy does behind it
            is_tls=has_tls if public is None else public.startswith("https:"),
            fingerprint=found.fingerprint if found is not None and found.is_own else None,
            sources=SourceRule.only(beyond.folders),
        )
    return Reached(
        addresses=addresses if public is None else (public, *addresses),
        names=frozenset(names),
        entry=entry,
        tls=None if found is None else found.context(),
    )


def _public(given: str) -> str:
    """The address as it is shown: scheme, name, port, a slash."""
    try:
        parts = urlsplit(given)
        is_plain = not (parts.username or parts.query or parts.fragment)
        if parts.scheme in ("http", "https") and parts.hostname and is_plain:
            port = "" if parts.port is None else f":{parts.port}"
            if parts.path in ("", "/"):
                return f"{parts.scheme}://{as_host(parts.hostname)}{port}/"
    except ValueError:
        pass
    raise AddressError(
        f"--public: got {given!r}; allowed: https:// or http://, a name and at most a port, no "
        "path: https://practice.example. Have the proxy serve Restmark at the root of a name."
    )


def tell(
    way: Reached, door: Door, announce: Callable[[str], None], show_code: Callable[[str], None]
) -> None:
    """Say by which addresses the service is asked, and how a device is paired with it."""
    entry = way.entry
    if entry is None:
        return
    if len(way.addresses) > 1:
        announce(f"It answers to these addresses alone: {' '.join(way.addresses)}")
    if entry.fingerprint is not None:
        announce(
            "Its certificate is its own, so browsers warn: go on only where the certificate that "
            f"they show has the fingerprint (SHA-256) {entry.fingerprint}"
        )
    if not entry.is_tls:
        announce(
            "Warning: without TLS whoever listens in this network can read everything and act as a "
            "paired device."
        )
    made = door.new_code(Role.OWNER)
    minutes = CODE_LASTS.seconds // 60
    announce(
        f"Pair a device within {minutes} minutes: scan this, or open "
        f"{entry.address}pair and type the code {made.code}"
    )
    show_code(qr_lines(pairing_address(entry.address, made.code)))
    announce(
        "The first is an owner, who lets in others on the page Devices; later codes: `restmark "
        "devices code`."
    )
