"""Who is let in, where others can reach the service: devices, codes, roles, names, certificate.

In: a store, what a device shows, addresses of this machine. Out: the device that asks and what it
may do, or a refusal. It knows no route: ``service.api`` asks it for every request. Secrets are kept
as hashes and compared in constant time.
"""

from .codes import CODE_LASTS, plain_code
from .door import Door, DoorError, NewCode
from .entry import Entry
from .roles import ROLE_WORDS, Role, least_role
from .sources import SourceRule

__all__ = [
    "CODE_LASTS",
    "ROLE_WORDS",
    "Door",
    "DoorError",
    "Entry",
    "NewCode",
    "Role",
    "SourceRule",
    "least_role",
    "plain_code",
]
