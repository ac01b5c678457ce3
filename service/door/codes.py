"""Codes that are read aloud or scanned once, and tokens that a device keeps."""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from datetime import timedelta

CODE_LASTS = timedelta(minutes=15)
_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
"""Without those that look alike: I, L, O, 0 and 1."""
_CODE_LENGTH = 8
"""Of 31 letters: 8·10¹¹ codes, of which the limits leave a stranger some hundred to try."""
_TOKEN = re.compile(r"([1-9]\d{0,9})\.([\w-]{43})", re.ASCII)


def new_code() -> str:
    """A code as a person reads it: ``ABCD-2345``."""
    letters = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH))
    return f"{letters[:4]}-{letters[4:]}"


def plain_code(typed: str) -> str:
    """A code as it was typed, without what people add to it."""
    return "".join(char for char in typed.upper() if char in _LETTERS)


def new_secret() -> str:
    """The secret part of a token: 256 bits."""
    return secrets.token_urlsafe(32)


def token_of(number: int, secret: str) -> str:
    """What a device shows: its number and its secret."""
    return f"{number}.{secret}"


def parts_of(token: str) -> tuple[int, str] | None:
    """Number and secret of a token; None where it is none."""
    found = _TOKEN.fullmatch(token)
    return (int(found[1]), found[2]) if found else None


def hash_of(secret: str) -> str:
    """What the store keeps of a code or a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


def is_hash_of(secret: str, kept: str) -> bool:
    """Whether ``kept`` is the secret's hash; it takes the same time either way."""
    return hmac.compare_digest(hash_of(secret), kept)
