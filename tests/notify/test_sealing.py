"""Endpoint secrets at rest."""

from __future__ import annotations

import base64
import os
import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from service.notify.sealing import KeyFault, Sealer, key_from_text, load_or_make_key

KEY = bytes(range(32))
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"


def test_sealed_text_opens_again_and_is_not_readable() -> None:
    """What is sealed opens to the same text and shows nothing of it."""
    sealed = Sealer(KEY, os.urandom).seal(SECRET, "we_1")
    assert Sealer(KEY, os.urandom).open(sealed, "we_1") == SECRET
    assert SECRET.encode() not in sealed


def test_sealing_twice_differs() -> None:
    """A fresh nonce each time: equal secrets look different at rest."""
    sealer = Sealer(KEY, os.urandom)
    assert sealer.seal(SECRET, "we_1") != sealer.seal(SECRET, "we_1")


def test_form_is_aes_256_gcm() -> None:
    """The ``cryptography`` library opens it: format byte, 12-byte nonce, ciphertext and tag.

    Source: NIST SP 800-38D as implemented by that library.
    """
    sealed = Sealer(KEY, lambda size: b"n" * size).seal(SECRET, "we_1")
    assert sealed[:13] == b"\x01" + b"n" * 12
    opened = AESGCM(KEY).decrypt(sealed[1:13], sealed[13:], b"\x01we_1")
    assert opened.decode() == SECRET


def test_every_changed_byte_is_noticed() -> None:
    """A value changed anywhere, cut short or empty does not open."""
    sealer = Sealer(KEY, os.urandom)
    sealed = sealer.seal(SECRET, "we_1")
    changed = [
        sealed[:at] + bytes([sealed[at] ^ 1]) + sealed[at + 1 :] for at in range(len(sealed))
    ]
    for value in [*changed, *(sealed[:end] for end in range(len(sealed)))]:
        with pytest.raises(KeyFault):
            sealer.open(value, "we_1")


def test_secret_moved_to_another_endpoint_stays_shut() -> None:
    """A sealed value is bound to the endpoint it was made for."""
    sealer = Sealer(KEY, os.urandom)
    with pytest.raises(KeyFault, match="we_2"):
        sealer.open(sealer.seal(SECRET, "we_1"), "we_2")


def test_another_key_says_what_to_do() -> None:
    """The wrong key is a clear fault that names the endpoint and the ways out, not the key."""
    sealed = Sealer(KEY, os.urandom).seal(SECRET, "we_1")
    with pytest.raises(KeyFault, match=r"we_1: start the service with the key that sealed it") as e:
        Sealer(bytes(32), os.urandom).open(sealed, "we_1")
    assert e.value.__cause__ is None


@pytest.mark.parametrize("size", [0, 16, 31, 33])
def test_key_of_another_length_is_refused(size: int) -> None:
    """A key has 32 bytes, given as bytes or as text."""
    with pytest.raises(KeyFault, match="32"):
        Sealer(bytes(size), os.urandom)
    with pytest.raises(KeyFault, match="32"):
        key_from_text(base64.b64encode(bytes(size)).decode())


def test_key_text_is_base64_and_never_repeated() -> None:
    """The written key is base64 of 32 bytes; the fault of any other text does not show it."""
    assert key_from_text(base64.b64encode(KEY).decode() + "\n") == KEY
    with pytest.raises(KeyFault) as caught:
        key_from_text("not-base64-but-perhaps-a-secret!")
    assert "perhaps" not in str(caught.value)


def test_key_file_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    """The first start makes the file with mode 0600 and later starts read it."""
    path = tmp_path / "data" / "sealing.key"
    key = load_or_make_key(path, os.urandom)
    assert len(key) == 32
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert load_or_make_key(path, os.urandom) == key
    assert [each.name for each in path.parent.iterdir()] == ["sealing.key"]


def test_starting_at_once_gives_one_key(tmp_path: Path) -> None:
    """Several starts at the same time agree on one key."""
    path = tmp_path / "sealing.key"
    with ThreadPoolExecutor(8) as pool:
        keys = list(pool.map(lambda _: load_or_make_key(path, os.urandom), range(32)))
    assert len(set(keys)) == 1
    assert [each.name for each in tmp_path.iterdir()] == ["sealing.key"]


def test_key_file_open_to_others_is_refused(tmp_path: Path) -> None:
    """A key others can read is refused with the way out."""
    path = tmp_path / "sealing.key"
    load_or_make_key(path, os.urandom)
    path.chmod(0o640)
    with pytest.raises(KeyFault, match="0600"):
        load_or_make_key(path, os.urandom)


def test_spoilt_key_file_is_refused(tmp_path: Path) -> None:
    """A file with something else in it is a fault, and is left as it is."""
    path = tmp_path / "sealing.key"
    path.write_bytes(b"\xff\xfe spoilt")
    path.chmod(0o600)
    with pytest.raises(KeyFault, match="base64"):
        load_or_make_key(path, os.urandom)
    assert path.read_bytes() == b"\xff\xfe spoilt"
