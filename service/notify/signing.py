"""Symmetric signatures of Standard Webhooks 1.0.0 over the very bytes that are sent.

The signed bytes are ``id + "." + timestamp + "." + raw body``; the signature is HMAC-SHA256 in
standard base64 behind ``v1,``. Secrets are shown as ``whsec_`` and base64 of 24 to 64 bytes.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import re
from collections.abc import Mapping, Sequence
from datetime import datetime

SECRET_PREFIX = "whsec_"  # noqa: S105 -- the published prefix, not a secret
SECRET_BYTES_MIN, SECRET_BYTES_MAX = 24, 64
TOLERANCE_S = 300
"""How far a message's time may lie from the receiver's, either way, in seconds (rule W6)."""

_VERSION = "v1"
_UNIX_SECONDS = re.compile(r"[0-9]{1,12}")


class SecretFault(ValueError):
    """A secret that is not ``whsec_`` and base64 of 24 to 64 bytes."""


class SignatureRefused(Exception):
    """A message a receiver must not believe; the text says why, without the secret."""


def secret_from_bytes(raw: bytes) -> str:
    """The shown form of 24 to 64 random bytes.

    Raises ``SecretFault`` for another length.
    """
    _check_length(raw)
    return SECRET_PREFIX + base64.b64encode(raw).decode("ascii")


def secret_to_bytes(secret: str) -> bytes:
    """The key behind ``secret``, with or without prefix, padded or not.

    Raises ``SecretFault`` if it is not base64 or not 24 to 64 bytes.
    """
    text = secret.removeprefix(SECRET_PREFIX).rstrip("=")
    try:
        raw = base64.b64decode(text + "=" * (-len(text) % 4), validate=True)
    except (binascii.Error, ValueError):
        raise SecretFault("A webhook secret is whsec_ and base64.") from None
    _check_length(raw)
    return raw


def sign(secret: str, message_id: str, timestamp_s: int, body: bytes) -> str:
    """One ``v1,`` signature of ``body`` at ``timestamp_s`` (Unix seconds).

    Raises ``ValueError`` for a message id with a dot, which would move the borders of the signed
    parts, and ``SecretFault`` for a secret that cannot be used.
    """
    if not message_id or "." in message_id:
        raise ValueError("A webhook message id is not empty and holds no dot.")
    signed = f"{message_id}.{timestamp_s}.".encode() + body
    digest = hmac.new(secret_to_bytes(secret), signed, hashlib.sha256).digest()
    return f"{_VERSION},{base64.b64encode(digest).decode('ascii')}"


def sign_with_all(secrets: Sequence[str], message_id: str, timestamp_s: int, body: bytes) -> str:
    """The signature header while secrets are changed over: one each, joined by one space (W5).

    Raises ``SecretFault`` without a secret, and what ``sign`` raises.
    """
    if not secrets:
        raise SecretFault("A message is signed with at least one secret.")
    return " ".join(sign(secret, message_id, timestamp_s, body) for secret in secrets)


def verify(
    secrets: Sequence[str], headers: Mapping[str, str], body: bytes, now: datetime
) -> tuple[str, datetime]:
    """The id and time of a message whose signature fits any of ``secrets``.

    ``now`` is aware. Header names are read in any case. Raises ``SignatureRefused`` for a missing
    header, a time that is no number or more than five minutes off, or no fitting signature.
    """
    lower = {name.lower(): value for name, value in headers.items()}
    message_id, stamp, signatures = (
        lower.get(f"webhook-{part}", "") for part in ("id", "timestamp", "signature")
    )
    if not (message_id and stamp and signatures):
        raise SignatureRefused("webhook-id, webhook-timestamp and webhook-signature are required.")
    timestamp_s = _checked_time(stamp, now)
    if "." in message_id or not _any_fits(
        signatures, sign_with_all(secrets, message_id, timestamp_s, body)
    ):
        raise SignatureRefused("No signature fits.")
    return message_id, datetime.fromtimestamp(timestamp_s, tz=now.tzinfo)


def _check_length(raw: bytes) -> None:
    if not SECRET_BYTES_MIN <= len(raw) <= SECRET_BYTES_MAX:
        raise SecretFault(
            f"A webhook secret holds {SECRET_BYTES_MIN} to {SECRET_BYTES_MAX} bytes, "
            f"not {len(raw)}."
        )


def _checked_time(stamp: str, now: datetime) -> int:
    if not _UNIX_SECONDS.fullmatch(stamp):
        raise SignatureRefused("webhook-timestamp is not a whole number of Unix seconds.")
    if abs(now.timestamp() - int(stamp)) > TOLERANCE_S:
        raise SignatureRefused(f"webhook-timestamp is more than {TOLERANCE_S} s off.")
    return int(stamp)


def _any_fits(given: str, expected: str) -> bool:
    """Compare every pair without leaving early, so that time tells nothing of a match."""
    fits = False
    for wanted in expected.split(" "):
        for offered in given.split(" "):
            fits |= hmac.compare_digest(offered.encode("utf-8", "replace"), wanted.encode())
    return fits
