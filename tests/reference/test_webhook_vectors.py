"""Signatures against published vectors of Standard Webhooks 1.0.0 and its reference library.

Vector A comes from the reference Python test, vector B from the reference Rust test; the refusals
mirror the cases of the reference tests (standard-webhooks @ b2fa7b87).
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import pytest
import standardwebhooks
from hypothesis import given
from hypothesis import strategies as st

from service.notify.signing import (
    SecretFault,
    SignatureRefused,
    secret_from_bytes,
    secret_to_bytes,
    sign,
    sign_with_all,
    verify,
)

SECRET_A = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
ID_A = "msg_p5jXN8AQM9LWM0D4loKWxJek"
TIME_A = 1_614_265_330
BODY_A = b'{"test": 2432232314}'
SIGNATURE_A = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="

SECRET_B = "whsec_C2FVsBQIhrscChlQIMV+b5sSYspob7oD"
ID_B = "msg_27UH4WbU6Z5A5EzD8u03UvzRbpk"
TIME_B = 1_649_367_553
BODY_B = b'{"email":"test@example.com","username":"test_user"}'
SIGNATURE_B = "v1,tZ1I4/hDygAJgO5TYxiSd6Sd0kDW6hPenDe+bTa3Kkw="

NOW_A = datetime.fromtimestamp(TIME_A, tz=UTC)
OTHER_SECRET = secret_from_bytes(b"another-secret-of-some-bytes")

secrets = st.binary(min_size=24, max_size=64).map(secret_from_bytes)
ids = st.text(alphabet=st.characters(codec="ascii", categories=("L", "N")), min_size=1)


def headers_a(**changes: str | None) -> dict[str, str]:
    """Headers of vector A with some changed, or left out by None."""
    values: dict[str, str | None] = {
        "webhook-id": ID_A,
        "webhook-timestamp": str(TIME_A),
        "webhook-signature": SIGNATURE_A,
    }
    values |= {f"webhook-{name}": value for name, value in changes.items()}
    return {name: value for name, value in values.items() if value is not None}


def refused(headers: Mapping[str, str], now: datetime = NOW_A, body: bytes = BODY_A) -> bool:
    """Whether vector A's secret refuses this message."""
    try:
        verify([SECRET_A], headers, body, now)
    except SignatureRefused:
        return True
    return False


@pytest.mark.parametrize(
    ("secret", "message_id", "timestamp_s", "body", "signature"),
    [
        (SECRET_A, ID_A, TIME_A, BODY_A, SIGNATURE_A),
        (SECRET_B, ID_B, TIME_B, BODY_B, SIGNATURE_B),
    ],
    ids=["vector A", "vector B"],
)
def test_published_vectors(
    secret: str, message_id: str, timestamp_s: int, body: bytes, signature: str
) -> None:
    """The published messages get the published signatures, and those are believed."""
    assert sign(secret, message_id, timestamp_s, body) == signature
    headers = {
        "Webhook-Id": message_id,
        "Webhook-Timestamp": str(timestamp_s),
        "Webhook-Signature": signature,
    }
    now = datetime.fromtimestamp(timestamp_s, tz=UTC)
    assert verify([secret], headers, body, now) == (message_id, now)


def test_near_miss_of_vector_a_is_refused() -> None:
    """The ending ``1OA=`` in place of ``1OE=`` is no signature (reference test, near miss)."""
    assert refused(headers_a(signature=SIGNATURE_A.replace("1OE=", "1OA=")))


@pytest.mark.parametrize("missing", ["id", "timestamp", "signature"])
def test_each_header_is_required(missing: str) -> None:
    """A message without any one of the three headers is refused (reference test)."""
    assert refused(headers_a(**{missing: None}))
    assert refused(headers_a(**{missing: ""}))


@pytest.mark.parametrize(
    "stamp", ["hello", "1614265330.5", "-1614265330", "+1614265330", " 1614265330", "١٦", "9" * 40]
)
def test_time_must_be_whole_unix_seconds(stamp: str) -> None:
    """A time that is no whole number is refused (reference test: not a number)."""
    assert refused(headers_a(timestamp=stamp))


@pytest.mark.parametrize(("late_s", "is_refused"), [(300, False), (301, True)])
@pytest.mark.parametrize("sign_of_offset", [1, -1])
def test_tolerance_is_five_minutes_either_way(
    late_s: int, sign_of_offset: int, *, is_refused: bool
) -> None:
    """5 min old or new passes, one second more does not (reference test)."""
    now = NOW_A + timedelta(seconds=sign_of_offset * late_s)
    assert refused(headers_a(), now) is is_refused


def test_right_signature_among_wrong_ones_and_other_versions() -> None:
    """One fitting v1 signature is enough; v2 and v1a are passed over (reference test)."""
    wrong = sign(OTHER_SECRET, ID_A, TIME_A, BODY_A)
    bare = SIGNATURE_A.removeprefix("v1,")
    assert not refused(headers_a(signature=f"{wrong} v2,{bare} v1a,{bare} {SIGNATURE_A}"))
    assert refused(headers_a(signature=f"{wrong} v2,{bare} v1a,{bare} {bare}"))


def test_truncated_signature_is_refused() -> None:
    """No proper beginning of a signature is one (reference test)."""
    assert all(refused(headers_a(signature=SIGNATURE_A[:end])) for end in range(len(SIGNATURE_A)))


def test_signature_header_of_foreign_letters_is_refused() -> None:
    """Letters beyond ASCII are refused like any wrong signature, not with another error."""
    assert refused(headers_a(signature="v1,\udcff v1,é"))


def test_every_signed_part_counts() -> None:
    """Another id, time or body needs another signature, and the borders of parts are fixed."""
    assert refused(headers_a(id="msg_other"))
    assert refused(headers_a(timestamp=str(TIME_A + 1)))
    assert refused(headers_a(), body=BODY_A + b" ")
    assert refused(headers_a(id=f"{ID_A}.{TIME_A}"))
    with pytest.raises(ValueError, match="dot"):
        sign(SECRET_A, "msg.1", TIME_A, BODY_A)
    with pytest.raises(ValueError, match="empty"):
        sign(SECRET_A, "", TIME_A, BODY_A)


def test_secret_with_and_without_prefix() -> None:
    """``whsec_`` may be left out (reference test)."""
    assert sign(SECRET_A.removeprefix("whsec_"), ID_A, TIME_A, BODY_A) == SIGNATURE_A


@pytest.mark.parametrize("size", [25, 26, 27])
def test_unpadded_base64_secret(size: int) -> None:
    """Missing base64 padding changes nothing (reference test)."""
    padded = secret_from_bytes(bytes(range(size)))
    assert sign(padded.rstrip("="), ID_A, TIME_A, BODY_A) == sign(padded, ID_A, TIME_A, BODY_A)


@pytest.mark.parametrize("size", [0, 1, 23, 65])
def test_secret_of_another_length_is_refused(size: int) -> None:
    """A secret has 24 to 64 bytes (standard, rule W4); an empty one is refused (reference test)."""
    raw = bytes(size)
    with pytest.raises(SecretFault, match=f"not {size}"):
        secret_from_bytes(raw)
    with pytest.raises(SecretFault, match=f"not {size}"):
        sign("whsec_" + base64.b64encode(raw).decode(), ID_A, TIME_A, BODY_A)


@pytest.mark.parametrize("secret", ["whsec_$$$$", "whsec_é", "whsec_A"])
def test_secret_that_is_no_base64_is_refused_without_showing_it(secret: str) -> None:
    """The fault names what a secret looks like and does not repeat the one given."""
    with pytest.raises(SecretFault) as caught:
        sign(secret, ID_A, TIME_A, BODY_A)
    assert secret not in str(caught.value)


def test_two_secrets_sign_one_message_while_they_change_over() -> None:
    """Signatures stand side by side, one space between (rule W5), and either secret believes."""
    both = sign_with_all([OTHER_SECRET, SECRET_A], ID_A, TIME_A, BODY_A)
    assert both == f"{sign(OTHER_SECRET, ID_A, TIME_A, BODY_A)} {SIGNATURE_A}"
    for secret in (OTHER_SECRET, SECRET_A):
        assert verify([secret], headers_a(signature=both), BODY_A, NOW_A) == (ID_A, NOW_A)
    assert verify([OTHER_SECRET, SECRET_A], headers_a(), BODY_A, NOW_A) == (ID_A, NOW_A)
    with pytest.raises(SecretFault, match="at least one"):
        sign_with_all([], ID_A, TIME_A, BODY_A)


@given(st.binary(min_size=24, max_size=64))
def test_secret_text_keeps_its_bytes(raw: bytes) -> None:
    """Every key of 24 to 64 bytes survives its shown form."""
    assert secret_to_bytes(secret_from_bytes(raw)) == raw


@given(secrets, ids, st.text())
def test_reference_library_believes_our_signature(secret: str, message_id: str, text: str) -> None:
    """The reference Python library verifies what is signed here, over the very bytes."""
    now_s = int(datetime.now(tz=UTC).timestamp())
    body = text.encode("utf-8", "replace")
    headers = {
        "webhook-id": message_id,
        "webhook-timestamp": str(now_s),
        "webhook-signature": sign_with_all([OTHER_SECRET, secret], message_id, now_s, body),
    }
    standardwebhooks.Webhook(secret).verify(body, headers, json_parse=False)


@given(secrets, ids, st.text())
def test_we_believe_the_reference_library(secret: str, message_id: str, text: str) -> None:
    """What the reference Python library signs is verified here."""
    body = text.encode("utf-8", "replace")
    headers = {
        "webhook-id": message_id,
        "webhook-timestamp": str(TIME_A),
        "webhook-signature": standardwebhooks.Webhook(secret).sign(
            message_id, NOW_A, body.decode()
        ),
    }
    assert verify([secret], headers, body, NOW_A) == (message_id, NOW_A)
