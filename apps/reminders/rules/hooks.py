"""Webhooks by the open Standard Webhooks form: signature, addresses that are refused, when to try again. Plain Python.

Source of the scheme: the Standard Webhooks specification, github.com/standard-webhooks/standard-webhooks.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
from collections.abc import Collection
from datetime import timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from urllib.parse import urlsplit

from farmops.errors import gettext_noop

PREFIX = "whsec_"
SECRET_BYTES = 32
_NAT64 = ip_network("64:ff9b::/96")
TIMEOUT_SECONDS = 15.0
OLD_SECRET_LIFE = timedelta(days=2)
"""How long a replaced secret still signs beside the new one."""

_S, _M, _H = (lambda n: timedelta(seconds=n)), (lambda n: timedelta(minutes=n)), (lambda n: timedelta(hours=n))
PAUSES = (_S(5), _M(5), _M(30), _H(2), _H(5), _H(10), _H(14), _H(20), _H(24))
"""After the first, second … failed try (the schedule the specification suggests: about three days in all)."""

MAX_CALLS = len(PAUSES) + 1
JITTER = 0.2
"""Each pause is up to a fifth longer, so that many calls do not come back together."""


def secret_from(random_bytes: bytes) -> str:
    """A secret as it is shown to the manager: ``whsec_`` and base64."""
    return PREFIX + base64.b64encode(random_bytes).decode()


def sign(secrets: Collection[str], *, message_id: str, timestamp: int, body: bytes) -> str:
    """The ``webhook-signature`` header: one ``v1,`` signature for each secret that counts now."""
    signed = f"{message_id}.{timestamp}.".encode() + body
    marks = (hmac.new(_key(secret), signed, hashlib.sha256).digest() for secret in secrets)
    return " ".join("v1," + base64.b64encode(mark).decode() for mark in marks)


def _key(secret: str) -> bytes:
    try:
        return base64.b64decode(secret.removeprefix(PREFIX), validate=True)
    except binascii.Error:
        raise ValueError("a webhook secret is whsec_ and base64") from None


def pause_after(attempts: int, chance: float) -> timedelta:
    """How long to wait after the ``attempts``-th failed try; ``chance`` (0 to 1) spreads it."""
    return PAUSES[min(attempts, len(PAUSES)) - 1] * (1 + JITTER * chance)


def address_trouble(url: str, *, may_stay_inside: bool) -> str:
    """Why this address cannot be a target at all, as a sentence; empty when its form is fine."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return gettext_noop("Must be an address such as https://example.org/farm.")
    if parts.scheme not in {"http", "https"} or not parts.hostname or port == 0:
        return gettext_noop("Must be an address such as https://example.org/farm.")
    if parts.scheme == "http" and not may_stay_inside:
        return gettext_noop("Must begin with https: what is sent tells where people work.")
    if parts.username or parts.password or parts.fragment:
        return gettext_noop("Must not hold a user name, a password or a # part.")
    if not url.isascii() or any(c.isspace() or not c.isprintable() for c in url):
        return gettext_noop("Must hold plain letters only, no spaces.")
    return ""


def is_outside(address: str) -> bool:
    """Whether an IP address is one of the open internet: not private, loopback, link-local, reserved or multicast.

    An IPv4 address wrapped in IPv6 (mapped, 6to4, Teredo, NAT64) is judged by what it wraps.
    """
    found = ip_address(address.partition("%")[0])
    if isinstance(found, IPv6Address):
        inner: IPv4Address | IPv6Address | None = found.ipv4_mapped or found.sixtofour
        if inner is None and found.teredo:
            inner = found.teredo[1]
        if inner is None and found in _NAT64:
            inner = ip_address(int(found) & 0xFFFFFFFF)
        if inner is not None and not is_outside(str(inner)):
            return False
        if found.ipv4_mapped:
            return True
    return found.is_global and not found.is_multicast and not found.is_reserved
