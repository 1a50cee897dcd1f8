"""Signing in and out: the cookie, forged forms, sessions that are over, and refused keys.

Source of the checks: RFC 6265 section 4.1.2 (cookie attributes), OWASP's advice on forged requests
(a token for each session beside SameSite), RFC 6585 section 4 (429), RFC 9110; from memory.
"""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.store.keys import revoke_key
from tests.conftest import FakeClock
from tests.web.bench.hand import Hand, strict_page, text_of
from tests.web.shop.conftest import OpenShop
from tests.web.shop.door import ShopDoor

PAGES = ("", "/scan?q=T000001", "/picking", "/schedule", "/deliveries", "/tickets/T000001")
FORMS = ("moves", "pieces", "ticks", "notes", "remakes")


def test_the_cookie_goes_to_the_bench_alone_and_no_script_reads_it(workroom: ShopDoor) -> None:
    """HttpOnly, SameSite=Strict, Path=/bench; it outlives its session; the key is not in it."""
    answer = Hand.stranger(workroom).sign_in(workroom.staff, "Ada")
    assert (answer.status_code, answer.headers["location"]) == (303, "/bench")
    name_and_value, *attributes = answer.headers["set-cookie"].split("; ")
    assert set(attributes) == {"HttpOnly", "Max-Age=172800", "Path=/bench", "SameSite=strict"}
    assert str(workroom.staff.key) not in name_and_value
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("scope", ["storefront", "staff", "owner"])
def test_only_keys_of_the_shop_open_the_bench(workroom: ShopDoor, scope: str) -> None:
    """A storefront's key is refused, in words and without a cookie."""
    caller = workroom.caller("someone", scope)
    before = workroom.row_counts()
    answer = Hand.stranger(workroom).sign_in(caller, "Ada")
    if scope != "storefront":
        assert answer.status_code == 303
        return
    assert answer.status_code == 403
    assert "opens no bench" in text_of(strict_page(answer))
    assert "set-cookie" not in answer.headers
    assert workroom.row_counts() == before


@pytest.mark.parametrize("who", ["", "   ", "x" * 65, "a\x07b"])
def test_a_name_is_asked_for(workroom: ShopDoor, who: str) -> None:
    """Every act bears a name, so nobody works without one that can be shown."""
    answer = Hand.stranger(workroom).sign_in(workroom.staff, who)
    assert answer.status_code == 422
    assert "name or initials" in text_of(strict_page(answer))


@pytest.mark.parametrize("page", PAGES)
def test_without_a_session_every_page_leads_to_sign_in_and_back(
    workroom: ShopDoor, page: str
) -> None:
    """The address asked for comes back after signing in, query and all."""
    hand = Hand.stranger(workroom)
    sent_away = hand.get(f"/bench{page}")
    assert sent_away.status_code == 303
    form = strict_page(hand.get(sent_away.headers["location"]))
    (back,) = [field for field in form.iter("input") if field.get("name") == "back"]
    assert back.get("value") == f"/bench{page}"
    answer = hand.sign_in(workroom.staff, "Ada", back=f"/bench{page}")
    assert answer.headers["location"] == f"/bench{page}"


@pytest.mark.parametrize(
    "back",
    [
        "https://elsewhere.example/",
        "//elsewhere.example",
        "/bench//elsewhere.example",
        "/bench/../v1",
        "/bench\\elsewhere",
        "/bench/sign-out",
        "/v1/tickets",
        "/bench?x=\r\nSet-Cookie: a=b",
        "javascript:alert(1)",
    ],
)
def test_signing_in_leads_nowhere_else(workroom: ShopDoor, back: str) -> None:
    """What is no page of the bench leads to the queue (CWE-601)."""
    answer = Hand.stranger(workroom).sign_in(workroom.staff, "Ada", back=back)
    assert answer.headers["location"] == "/bench"


@pytest.mark.parametrize("form", FORMS)
def test_a_form_without_this_sessions_token_changes_nothing(
    ada: Hand, bob: Hand, workroom: ShopDoor, started: str, form: str
) -> None:
    """Without a token, with another session's, or sent by another site: 403, nothing changed."""
    own = ada.hidden(started)
    before = workroom.row_counts()
    fields = {"move": "start", "note": "kept <b>", "size": "M", "count": "1", "kind": "done"}
    for token in ("", "é", own["token"][:-1], bob.hidden(started)["token"]):
        answer = ada.send(started, form, {**own, "token": token}, **fields)
        assert answer.status_code == 403
        assert "kept <b>" in text_of(strict_page(answer))
    path = f"/bench/tickets/{started}/{form}"
    for site in ("cross-site", "same-site"):
        headers = {"Sec-Fetch-Site": site}
        assert ada.client.post(path, data={**own, **fields}, headers=headers).status_code == 403
    assert workroom.row_counts() == before


def test_changes_are_posts_alone(ada: Hand, workroom: ShopDoor, started: str) -> None:
    """Following a link changes nothing: a form's address, loaded anew, is its ticket's page."""
    before = workroom.row_counts()
    for form in FORMS:
        answer = ada.get(f"/bench/tickets/{started}/{form}")
        assert answer.status_code == 303
        assert answer.headers["location"] == f"/bench/tickets/{started}"
    assert ada.get("/bench/sign-out").status_code == 405
    assert workroom.row_counts() == before


def test_signing_out_ends_the_session(ada: Hand, started: str) -> None:
    """The cookie is taken back, and the old one opens nothing."""
    token, old = ada.hidden(started)["token"], ada.client.cookies["bench_session"]
    answer = ada.client.post("/bench/sign-out", data={"token": token})
    assert (answer.status_code, answer.headers["location"]) == (303, "/bench/sign-in")
    assert "Max-Age=0" in answer.headers["set-cookie"]
    ada.client.cookies.set("bench_session", old, domain="testserver.local", path="/bench")
    assert "ended=1" in ada.get("/bench").headers["location"]


def test_a_withdrawn_key_ends_its_sessions(workroom: ShopDoor, clock: FakeClock) -> None:
    """At once, and the page says that the session has ended."""
    hand, caller = Hand.stranger(workroom), workroom.caller("leaver", "staff")
    assert hand.sign_in(caller, "Eve").status_code == 303
    assert hand.get("/bench").status_code == 200
    database = workroom.assembly.database
    database.write(lambda session: revoke_key(session, "key-leaver-staff", clock()))
    sent_away = hand.get("/bench")
    assert sent_away.status_code == 303
    form = hand.page(sent_away.headers["location"])
    assert "Your session has ended" in text_of(form)


def test_a_note_outlives_its_session(
    ada: Hand, workroom: ShopDoor, clock: FakeClock, number: str
) -> None:
    """Typed too late, it is shown at sign-in and after, and then written where it belongs."""
    note = 'typed for long: 5 < 6 & "7" \u05e9\u05dc\u05d5\u05dd \U0001f9f5'
    hidden = ada.hidden(number)
    clock.advance(timedelta(hours=12))
    late = ada.send(number, "moves", hidden, move="halt", note=note)
    assert late.status_code == 401
    page = strict_page(late)
    assert "Your session has ended, so nothing was changed" in text_of(page)
    (shown,) = page.iter("textarea")
    assert text_of(shown) == note
    (back,) = [field.get("value") for field in page.iter("input") if field.get("name") == "back"]
    again = ada.sign_in(workroom.staff, "Ada", back=str(back), note=note)
    assert again.status_code == 200
    kept = strict_page(again)
    (form,) = kept.iter("form")
    (token,) = [field.get("value") for field in form.iter("input")]
    sent = ada.client.post(str(form.get("action")), data={"token": token, "note": note})
    assert sent.status_code == 303
    assert note in text_of(ada.page(f"/bench/tickets/{number}"))


def test_many_refused_keys_make_an_address_wait(workroom: ShopDoor, clock: FakeClock) -> None:
    """After ten within five minutes the next is told to wait, and later no longer."""
    clock.advance(timedelta(minutes=5))
    hand = Hand.stranger(workroom)
    for _ in range(10):
        assert hand.sign_in(workroom.storefront, "Ada").status_code == 403
    answer = hand.sign_in(workroom.storefront, "Ada")
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "300"
    strict_page(answer)
    clock.advance(timedelta(minutes=5))
    assert hand.sign_in(workroom.storefront, "Ada").status_code == 403


def test_a_stranger_locks_nobody_out(workroom: ShopDoor) -> None:
    """Behind a proxy all share one address: a good key is taken whatever was refused before."""
    stranger = Hand.stranger(workroom)
    statuses = [stranger.sign_in(workroom.storefront, "x").status_code for _ in range(12)]
    assert statuses[-1] == 429
    assert Hand.stranger(workroom).sign_in(workroom.staff, "Ada").status_code == 303


def test_over_https_the_cookie_never_goes_in_the_clear(
    open_shop: OpenShop,
) -> None:
    """Where the public address is https, the cookie is Secure, and its path below that address."""
    with open_shop(public_url="https://shop.example/intake") as shop:
        answer = Hand.stranger(shop).sign_in(shop.staff, "Ada")
        attributes = answer.headers["set-cookie"].split("; ")[1:]
        assert {"Secure", "Path=/intake/bench"} <= set(attributes)
        assert answer.headers["location"] == "/intake/bench"
