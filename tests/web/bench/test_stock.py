"""The pages of stock, as someone at the bench uses them; strictly read by html5lib."""

from __future__ import annotations

import pytest
from httpx2 import Response

from tests.web.bench.hand import Hand, strict_page, text_of
from tests.web.shop.door import ShopDoor, line

TEE = {"kind": "blank", "item": "classic-cotton-tee", "colour": "navy", "size": "XL"}
FILM = {"kind": "medium", "item": "cut-film", "colour": "slate", "size": ""}


def page_of(thing: dict[str, str]) -> str:
    """The address of a thing's page."""
    return "/bench/stock/item?" + "&".join(f"{name}={value}" for name, value in thing.items())


def hidden(hand: Hand, thing: dict[str, str]) -> dict[str, str]:
    """What the first form of a thing's page carries: where it is refused, nothing else matters."""
    page = hand.page(page_of(thing))
    form = next(one for one in page.iter("form") if str(one.get("action")).endswith("/stock/moves"))
    return {
        str(one.get("name")): str(one.get("value"))
        for one in form.iter("input")
        if one.get("type") == "hidden"
    }


def send(hand: Hand, form: str, thing: dict[str, str], **fields: str) -> Response:
    """Send a form of a page loaded just now."""
    return hand.client.post(f"/bench/stock/{form}", data={**hidden(hand, thing), **fields})


def words(hand: Hand, thing: dict[str, str]) -> str:
    """All that a thing's page says."""
    return text_of(hand.page(page_of(thing)))


def test_received_counted_and_looked_at(ada: Hand) -> None:
    """A film in metres: ordered, received, counted; the list and the page say the same."""
    assert send(ada, "incoming", FILM, quantity="25.5", day="2026-03-04").status_code == 303
    assert "25.5 m on Wed 4 Mar 2026" in words(ada, FILM)
    page = ada.page(page_of(FILM))
    (delivery,) = [
        str(one.get("value")) for one in page.iter("option") if "delivery" in str(one.get("value"))
    ]
    came = {"act": "receive", "quantity": "25", "incoming_id": delivery, "note": "roll 7"}
    took = send(ada, "moves", FILM, **came)
    assert took.status_code == 303
    assert took.headers["location"] == "/bench/stock/item?kind=medium&item=cut-film&colour=slate"
    said = words(ada, FILM)
    assert "+25 m, received, Ada" in said
    assert "roll 7" in said
    assert "Nothing is expected" in said
    assert send(ada, "moves", FILM, act="count", quantity="24.75").status_code == 303
    assert "-0.25 m, counted, Ada" in words(ada, FILM)
    listed = ada.page("/bench/stock?kind=medium")
    rows = {text_of(one) for one in listed.iter("tr")}
    assert any("Slate grey" in one and "24.75 m" in one for one in rows)
    assert "classic" not in text_of(listed).lower()


def test_a_delivery_is_called_off(ada: Hand) -> None:
    """It is gone from the page; calling it off again is told."""
    thing = {**FILM, "colour": "brick"}
    send(ada, "incoming", thing, quantity="3", day="2026-03-09")
    page = ada.page(page_of(thing))
    delivery = next(
        str(one.get("value")) for one in page.iter("input") if one.get("name") == "incoming_id"
    )
    assert send(ada, "call-off", thing, incoming_id=delivery).status_code == 303
    assert "Nothing is expected" in words(ada, thing)
    again = send(ada, "call-off", thing, incoming_id=delivery)
    assert again.status_code == 409
    assert "called off by Ada" in text_of(strict_page(again))


@pytest.mark.parametrize(
    ("fields", "status", "said"),
    [
        ({"act": "waste", "quantity": "1"}, 409, "0 pieces are on hand"),
        ({"act": "receive", "quantity": "some"}, 422, "a number from 0"),
        ({"act": "receive", "quantity": "NaN"}, 422, "a number from 0"),
        ({"act": "receive", "quantity": "1.5"}, 422, "counted whole"),
        ({"act": "receive", "quantity": "0"}, 422, "more than 0"),
        ({"act": "lose", "quantity": "1"}, 422, "counted, received or wasted"),
        ({"act": "receive", "quantity": "1", "incoming_id": "x y"}, 422, "of the list"),
    ],
)
def test_what_cannot_be_taken_is_shown_again(
    ada: Hand, fields: dict[str, str], status: int, said: str
) -> None:
    """In plain words, with all that was typed, and nothing is booked."""
    thing = {**TEE, "size": "S"}
    answer = send(ada, "moves", thing, note="<b>kept</b>", **fields)
    assert answer.status_code == status
    page = strict_page(answer)
    assert said in text_of(page)
    values = {one.get("value") for one in page.iter("input")}
    assert {"<b>kept</b>", fields["quantity"]} <= values
    assert "Nothing yet" in text_of(page)
    assert send(ada, "incoming", thing, quantity="1", day="soon").status_code == 422


def test_two_at_one_shelf(ada: Hand, bob: Hand) -> None:
    """Who counted before another booked is told, and a form sent twice is taken once."""
    seen = hidden(bob, TEE)
    assert send(ada, "moves", TEE, act="receive", quantity="12").status_code == 303
    late = bob.client.post("/bench/stock/moves", data={**seen, "act": "count", "quantity": "0"})
    assert late.status_code == 409
    assert "Ada booked +12 pieces (receive)" in text_of(strict_page(late))
    form = {**hidden(bob, TEE), "act": "receive", "quantity": "1"}
    twice = [bob.client.post("/bench/stock/moves", data=form).status_code for _ in range(2)]
    assert twice == [303, 409]
    said = words(ada, TEE)
    assert "On hand13 pieces" in said
    assert "+1 piece, received, Bob" in said


def test_a_shelf_below_zero_is_flagged(workroom: ShopDoor, ada: Hand) -> None:
    """A ticket takes what it needs though the ledger has none; the list and the page say so."""
    wished = line(colour="yellow", sizes={"S": 2})
    number = workroom.storefront.order(wished)["tickets"][0]["number"]
    thing = {**TEE, "colour": "yellow", "size": "S"}
    assert "Held for open tickets" in words(ada, thing)
    workroom.staff.moves(number, "start")
    said = words(ada, thing)
    assert "below zero" in said
    assert number in said
    assert "below zero: count it" in text_of(ada.page("/bench/stock?kind=blank&below=on"))


def test_page_by_page(ada: Hand) -> None:
    """The list goes on, and each page is small; the menu leads to it."""
    first = ada.page("/bench/stock")
    assert "/bench/stock" in {one.get("href") for one in first.iter("a")}
    (link,) = [one.get("href") for one in first.iter("a") if one.get("rel") == "next"]
    second = ada.page(str(link))
    assert text_of(second) != text_of(first)
    assert "First page" in text_of(second)


def test_strangers_foreign_forms_and_unknown_things(workroom: ShopDoor, ada: Hand) -> None:
    """Nobody sees stock without a session, no foreign form is taken, no unknown thing shown."""
    stranger = Hand.stranger(workroom)
    for path in ("/bench/stock", page_of(TEE), "/bench/stock/moves"):
        answer = stranger.get(path)
        assert answer.status_code == 303
    assert "/bench/sign-in" in stranger.get("/bench/stock").headers["location"]
    forged = ada.client.post("/bench/stock/moves", data={**TEE, "token": "0" * 64})
    assert forged.status_code == 403
    for path in (page_of({**TEE, "size": "XXS"}), page_of({**TEE, "kind": "hat"})):
        missing = ada.get(path)
        assert missing.status_code == 404
        assert text_of(strict_page(missing))
    assert ada.get("/bench/stock/call-off").headers["location"] == "/bench/stock"
