"""Endpoint secrets at rest: AES-256-GCM (NIST SP 800-38D) under one key of the shop.

A sealed value is one format byte, a 12-byte nonce and the ciphertext with its 16-byte tag. The id
of the endpoint is authenticated with it, so that a sealed secret copied to another row stays shut.
"""

from __future__ import annotations

import base64
import binascii
import os
from collections.abc import Callable
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

KEY_BYTES = 32
_FORMAT = b"\x01"
_NONCE_BYTES = 12
_OTHERS = 0o077

RandomBytes = Callable[[int], bytes]
"""Gives so many unpredictable bytes; ``os.urandom`` in service, fixed bytes in tests."""


class KeyFault(Exception):
    """The sealing key is missing, malformed, readable by others, or not the one that sealed."""


class Sealer:
    """Seals and opens texts with one 32-byte key.

    Raises ``KeyFault`` for a key of another length.
    """

    def __init__(self, key: bytes, random_bytes: RandomBytes) -> None:
        if len(key) != KEY_BYTES:
            raise KeyFault(f"The sealing key holds {KEY_BYTES} bytes, not {len(key)}.")
        self._cipher = AESGCM(key)
        self._random_bytes = random_bytes

    def seal(self, text: str, bound_to: str) -> bytes:
        """``text`` sealed for the row named ``bound_to``; a fresh nonce each time."""
        nonce = self._random_bytes(_NONCE_BYTES)
        return (
            _FORMAT + nonce + self._cipher.encrypt(nonce, text.encode(), _bound(_FORMAT, bound_to))
        )

    def open(self, sealed: bytes, bound_to: str) -> str:
        """The text sealed for ``bound_to``.

        Raises ``KeyFault`` if this key did not seal it, or it was changed or moved.
        """
        form, nonce, rest = sealed[:1], sealed[1 : 1 + _NONCE_BYTES], sealed[1 + _NONCE_BYTES :]
        try:
            return self._cipher.decrypt(nonce, rest, _bound(form, bound_to)).decode()
        except (InvalidTag, ValueError):
            raise KeyFault(
                f"The sealing key does not open the secret of {bound_to}: start the service with "
                "the key that sealed it, or register the endpoint anew."
            ) from None


def key_from_text(text: str) -> bytes:
    """The key written as base64 of 32 bytes.

    Raises ``KeyFault``, without the text, if it is anything else.
    """
    try:
        key = base64.b64decode(text.strip(), validate=True)
    except (binascii.Error, ValueError):
        raise KeyFault(f"The sealing key must be base64 of {KEY_BYTES} random bytes.") from None
    if len(key) != KEY_BYTES:
        raise KeyFault(
            f"The sealing key must be base64 of {KEY_BYTES} random bytes, not of {len(key)}."
        )
    return key


def load_or_make_key(path: Path, random_bytes: RandomBytes) -> bytes:
    """The key in the file at ``path``, which is made, readable by its owner alone, if missing.

    Several processes may start at once: all of them get the one key. Raises ``KeyFault`` if the
    file holds no key or others may read it, and ``OSError`` if it cannot be read or made.
    """
    if not path.exists():
        _make_key_file(path, random_bytes)
    if path.stat().st_mode & _OTHERS:
        raise KeyFault(
            f"The sealing key file {path} can be read by others: set its mode to 0600, or give "
            "the key by setting instead."
        )
    return key_from_text(path.read_text(encoding="ascii", errors="replace"))


def _bound(form: bytes, bound_to: str) -> bytes:
    """What is authenticated with the ciphertext: the format byte and the owner's name."""
    return form + bound_to.encode()


def _make_key_file(path: Path, random_bytes: RandomBytes) -> None:
    """Write aside, then link: whoever loses the race finds the winner's whole file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = path.with_name(f".{path.name}.{random_bytes(8).hex()}")
    handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(base64.b64encode(random_bytes(KEY_BYTES)) + b"\n")
            file.flush()
            os.fsync(file.fileno())
        path.hardlink_to(aside)
    except FileExistsError:
        pass
    finally:
        aside.unlink()
