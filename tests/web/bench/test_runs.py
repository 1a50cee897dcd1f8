"""The pages of runs, as someone at the bench uses them; strictly read by html5lib."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from httpx2 import Response

from tests.web.bench.hand import Hand, strict_page, text_of
from tests.web.shop.conftest import OpenShop
from tests.web.shop.door import ShopDoor, line


@pytest.fixture(scope="module")
def workroom(open_shop: OpenShop) -> Iterator[ShopDoor]:
    """The demonstration shop with the pages of runs."""
    with open_shop() as door:
        yield door


def hidden(hand: Hand, path: str) -> dict[str, str]:
    """Token and version of a page's forms."""
    return {
        str(one.get("name")): str(one.get("value"))
        for one in hand.page(path).iter("input")
        if one.get("type") == "hidden"
    }


def send(hand: Hand, path: str, page: str, **fields: str) -> Response:
    """Send a form of a page loaded just now."""
    return hand.client.post(path, data={**hidden(hand, page), **fields})


def newest(hand: Hand) -> str:
    """The address of the newest run."""
    links = re.findall(r'href="(/bench/runs/[^"?]+)"', hand.get("/bench/runs").text)
    return str(links[0])


def test_a_run_from_proposal_to_reprint(workroom: ShopDoor, ada: Hand) -> None:
    """Proposed on the list, looked at with its layout, accepted, and a piece made anew."""
    number = workroom.storefront.order(line())["tickets"][0]["number"]
    assert send(ada, "/bench/runs", "/bench/runs").status_code == 303
    assert number in text_of(ada.page("/bench/runs"))
    run = newest(ada)
    page = ada.page(run)
    assert "NOT MIRRORED" in text_of(page)
    (picture,) = [one for one in page.iter("img") if "layout" in str(one.get("src"))]
    drawing = ada.get(str(picture.get("src")))
    assert drawing.headers["content-type"] == "image/svg+xml"
    assert ada.get(f"{run}/print.pdf").content.startswith(b"%PDF")
    assert send(ada, f"{run}/accept", run, note="roll 7").status_code == 303
    words = text_of(ada.page(run))
    assert "accepted" in words
    assert "roll 7" in words
    done = send(ada, f"{run}/reprints", run, print=f"{number}:0", count="2", note="scorched")
    assert done.status_code == 303
    assert f"{number}: 2 pieces, waiting for the next run" in text_of(ada.page(run))
    assert ada.get(f"{run}/accept").status_code == 303


def test_what_cannot_be_taken_is_shown_again(workroom: ShopDoor, ada: Hand, bob: Hand) -> None:
    """A wrong number, another's change, and a proposal with nothing waiting, in plain words."""
    number = workroom.storefront.order(line())["tickets"][0]["number"]
    send(ada, "/bench/runs", "/bench/runs")
    run = newest(ada)
    seen = hidden(bob, run)
    assert send(ada, f"{run}/accept", run).status_code == 303
    late = bob.client.post(f"{run}/dissolve", data={**seen, "note": "mine"})
    assert late.status_code == 409
    words = text_of(strict_page(late))
    assert "Ada" in words
    wrong = send(ada, f"{run}/reprints", run, print=f"{number}:0", count="many", note="kept")
    assert wrong.status_code == 422
    page = strict_page(wrong)
    assert "whole number" in text_of(page)
    assert "kept" in {one.get("value") for one in page.iter("input")}
    assert send(ada, f"{run}/reprints", run, print="x", count="1").status_code == 422
    none = send(ada, "/bench/runs", "/bench/runs", medium="flock-film")
    assert "Nothing waits" in text_of(strict_page(none))
    assert send(ada, "/bench/runs", "/bench/runs", until="soon").status_code == 422
    assert send(ada, f"{run}/dissolve", run).status_code == 303
    assert run in ada.get("/bench/runs?state=dissolved").text


def test_strangers_and_foreign_forms(workroom: ShopDoor, ada: Hand) -> None:
    """Nobody sees runs without a session, and no form is taken that the session did not make."""
    stranger = Hand.stranger(workroom)
    for path in ("/bench/runs", "/bench/runs/run_1", "/bench/runs/run_1/layout.svg"):
        answer = stranger.get(path)
        assert (answer.status_code, "/bench/sign-in" in answer.headers["location"]) == (303, True)
    forged = ada.client.post("/bench/runs", data={"token": "0" * 64})
    assert forged.status_code == 403
    missing = ada.get("/bench/runs/run_none")
    assert missing.status_code == 404
    assert text_of(strict_page(missing))
