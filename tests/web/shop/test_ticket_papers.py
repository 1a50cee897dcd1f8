"""A ticket's papers over HTTP: kinds, what is kept, refusals, and sheets without a proof."""

from __future__ import annotations

import base64
import re
from datetime import timedelta

import pytest
from httpx2 import Response

from service.store.tables import Artwork
from service.web.accept_types import preferred_type
from tests.conftest import FakeClock
from tests.render.papers import (
    codes_on,
    elements,
    html_text,
    page_picture,
    pages_of,
    pdf_text,
)
from tests.render.test_ticket_pdf import missing
from tests.web.shop.door import (
    ON_ONE_STORE,
    PUBLIC_URL,
    ShopDoor,
    answered,
    line,
    only_error,
    refused,
    supplied_line,
)

PATHS = (
    "{number}.pdf",
    "{number}.html",
    "{number}/label.pdf",
    "{number}/care-card.pdf",
    "{number}/care-card.html",
)


@pytest.fixture(scope="module")
def number(standing_shop: ShopDoor) -> str:
    """The ticket of five printed T-shirts in the shop that tests share."""
    order = standing_shop.storefront.order(line())
    found: str = order["tickets"][0]["number"]
    return found


def got(response: Response, media_type: str) -> Response:
    """The answer, which must be of that type."""
    assert response.status_code == 200, response.text
    assert response.headers["content-type"].split(";")[0] == media_type
    return response


@ON_ONE_STORE
def test_the_pdf_holds_the_ticket_of_the_json(standing_shop: ShopDoor, number: str) -> None:
    """Words of every step, sizes and code are those of the JSON; the name is the ticket's."""
    ticket = answered(standing_shop.staff.get(f"/v1/tickets/{number}"), 200)
    answer = got(standing_shop.staff.get(f"/v1/tickets/{number}.pdf"), "application/pdf")
    document, text = ticket["document"], pdf_text(answer.content)
    wanted = [number, ticket["promised_day"], *document["cautions"]]
    wanted += [step[what] for step in document["steps"] for what in ("words", "why", "caution")]
    wanted += [f"{size} {count}" for size, count in document["pieces_by_size"].items()]
    assert missing(wanted, text) == []
    assert "no picture" not in text
    assert codes_on(page_picture(answer.content)) == [f"{PUBLIC_URL}/bench/tickets/{number}"]
    assert answer.headers["content-disposition"] == f'inline; filename="{number}-ticket.pdf"'


def test_what_was_written_stands_on_the_sheet(shop: ShopDoor, clock: FakeClock) -> None:
    """Notes by themselves and beside moves, in the order in which they were written."""
    number = shop.storefront.order(line())["tickets"][0]["number"]
    staff, ticket = shop.staff, f"/v1/tickets/{number}"
    answered(staff.post(f"{ticket}/notes", {"who": "Ada", "text": "first: soft hand"}), 201)
    clock.advance(timedelta(minutes=1))
    halt = {"who": "Bob", "move": "halt", "note": "second: no white film"}
    answered(staff.post(f"{ticket}/moves", halt), 201)
    clock.advance(timedelta(minutes=1))
    answered(staff.post(f"{ticket}/notes", {"who": "Ada", "text": "third: it is here"}), 201)
    for text in (
        pdf_text(staff.get(f"{ticket}.pdf").content),
        html_text(staff.get(f"{ticket}.html").text),
    ):
        places = [text.index(words) for words in ("first: soft", "second: no", "third: it is")]
        assert places == sorted(places)
        assert "Bob, halt" in text


@ON_ONE_STORE
def test_the_page_shows_the_proof_and_runs_nothing(standing_shop: ShopDoor, number: str) -> None:
    """A PNG lies inside it (W3C PNG, 5.2); its policy lets nothing be fetched or run (CSP 3)."""
    answer = got(standing_shop.staff.get(f"/v1/tickets/{number}.html"), "text/html")
    assert f"Ticket {number}" in html_text(answer.text)
    (picture,) = elements(answer.text, "img")
    data = base64.b64decode(picture["src"].removeprefix("data:image/png;base64,"))
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script" not in policy
    assert re.search(r"style-src 'sha256-[A-Za-z0-9+/=]+'", policy)


@ON_ONE_STORE
@pytest.mark.parametrize("kind", ["application/pdf", "text/html"])
def test_the_ticket_itself_is_sent_as_what_is_asked_for(
    standing_shop: ShopDoor, number: str, kind: str
) -> None:
    """Accept chooses the sheet's form (RFC 9110 section 12.5.1); without it there is JSON."""
    path = f"/v1/tickets/{number}"
    sheet = got(standing_shop.staff.send("GET", path, {"Accept": kind}), kind)
    named = standing_shop.staff.get(path + (".pdf" if kind.endswith("pdf") else ".html"))
    assert sheet.content == named.content
    plain = standing_shop.staff.get(path)
    assert got(plain, "application/json").headers["vary"] == "Accept"


@ON_ONE_STORE
def test_a5_is_smaller(standing_shop: ShopDoor, number: str) -> None:
    """148 x 210 mm (ISO 216, from memory)."""
    answer = standing_shop.staff.get(f"/v1/tickets/{number}.pdf?paper=a5")
    width, height = page_picture(got(answer, "application/pdf").content, scale=1.0).size
    assert (width, height) == pytest.approx((148 / 25.4 * 72, 210 / 25.4 * 72), abs=1)


@ON_ONE_STORE
@pytest.mark.parametrize("path", PATHS)
def test_a_paper_is_sent_once(standing_shop: ShopDoor, number: str, path: str) -> None:
    """Its ETag gives 304, and other choices another one (RFC 9110, 8.8.3 and 13.1.2)."""
    address = f"/v1/tickets/{path.format(number=number)}"
    first = standing_shop.staff.get(address)
    assert first.status_code == 200
    again = standing_shop.staff.get(address, {"If-None-Match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.headers["etag"] == first.headers["etag"]
    assert first.headers["cache-control"] == "private, no-cache"


@ON_ONE_STORE
def test_a_move_makes_another_sheet(standing_shop: ShopDoor) -> None:
    """What was kept is no longer good, and the note stands on the new one as it was written."""
    staff = standing_shop.staff
    number = standing_shop.storefront.order(line(sizes={"S": 1}))["tickets"][0]["number"]
    before = staff.get(f"/v1/tickets/{number}.html")
    note = "<b>Stop</b> & wait: مرحبا 😀 " * 100
    body = {"move": "halt", "who": "Ada", "note": note}
    answered(staff.post(f"/v1/tickets/{number}/moves", body), 201)
    after = staff.get(f"/v1/tickets/{number}.html", {"If-None-Match": before.headers["etag"]})
    assert after.status_code == 200
    assert " ".join(note.split()) in html_text(after.text)
    text = pdf_text(staff.get(f"/v1/tickets/{number}.pdf").content)
    assert text.count("<b>Stop</b> & wait:") == 100
    assert "[U+1F600]" in text
    assert "مرحبا" in text


@ON_ONE_STORE
@pytest.mark.parametrize("path", PATHS)
def test_an_unknown_ticket_is_said_to_be_so(standing_shop: ShopDoor, path: str) -> None:
    """404 for a number that is not there, and 422 for what is no number."""
    staff = standing_shop.staff
    refused(staff.get(f"/v1/tickets/{path.format(number='T999999')}"), 404, "ticket-not-found")
    refused(staff.get(f"/v1/tickets/{path.format(number='T_1')}"), 422, "fields-refused")


@ON_ONE_STORE
@pytest.mark.parametrize("path", PATHS)
def test_papers_are_for_staff(standing_shop: ShopDoor, number: str, path: str) -> None:
    """A storefront is refused, a stranger asked for a key (RFC 9110, 15.5.2 and 15.5.4)."""
    address = f"/v1/tickets/{path.format(number=number)}"
    assert standing_shop.storefront.get(address).status_code == 403
    assert standing_shop.nobody.get(address).status_code == 401


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("address", "parameter"),
    [
        (".pdf?paper=a3", "paper"),
        (".pdf?paper=a4&paper=a5", "paper"),
        ("/label.pdf?each=box", "each"),
        ("/label.pdf?first=0", "first"),
        ("/care-card.pdf?language=xx", "language"),
        ("/care-card.html?language=en&language=de", "language"),
    ],
)
def test_a_wrong_choice_is_named(
    standing_shop: ShopDoor, number: str, address: str, parameter: str
) -> None:
    """The parameter that cannot be used stands in the refusal."""
    answer = standing_shop.staff.get(f"/v1/tickets/{number}{address}")
    assert only_error(refused(answer, 422, "fields-refused"))["parameter"] == parameter


@ON_ONE_STORE
def test_labels_and_care_cards(standing_shop: ShopDoor, number: str) -> None:
    """A label for each size, and a card in each language."""
    staff = standing_shop.staff
    label = staff.get(f"/v1/tickets/{number}/label.pdf?each=size&language=de")
    assert pages_of(got(label, "application/pdf").content) == 2
    assert "Größe M" in pdf_text(label.content)
    for language, title in (("es", "Tarjeta de cuidado"), ("fr", "Fiche d'entretien")):
        card = f"/v1/tickets/{number}/care-card"
        page = got(staff.get(f"{card}.html?language={language}"), "text/html")
        assert title in html_text(page.text)
        assert title in pdf_text(staff.get(f"{card}.pdf?language={language}").content)


@ON_ONE_STORE
def test_a_garment_that_is_brought_has_no_picture(standing_shop: ShopDoor) -> None:
    """The sheet says why, shows where the print goes, and nobody keeps it."""
    order = standing_shop.storefront.order(supplied_line())
    address = f"/v1/tickets/{order['tickets'][0]['number']}"
    page = standing_shop.staff.get(f"{address}.html")
    assert "no picture: this garment is the customer's own" in html_text(page.text)
    assert page.headers["cache-control"] == "no-store"
    assert "etag" not in page.headers
    pdf = standing_shop.staff.get(f"{address}.pdf").content
    assert "no picture: this garment is the customer's own" in pdf_text(pdf)


def test_a_lost_artwork_leaves_the_ticket_readable(shop: ShopDoor) -> None:
    """The file is gone from the store: the sheet says so in the picture's place."""
    number = shop.storefront.order(line())["tickets"][0]["number"]
    for row in shop.rows(Artwork):
        shop.assembly.services.files.delete(row.kept_sha256 or row.sha256)
    text = pdf_text(shop.staff.get(f"/v1/tickets/{number}.pdf").content)
    assert "no picture: There is no such file." in text
    assert "Steps, in the order the hands move" in text


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("", "application/json"),
        ("*/*", "application/json"),
        ("application/pdf", "application/pdf"),
        ("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", "text/html"),
        ("text/*;q=0.4, application/pdf;q=0.5, application/json;q=0.1", "application/pdf"),
        ("image/png", "application/json"),
        ("application/json;q=0, text/html;q=0.2", "text/html"),
        ("text/html;q=x", "text/html"),
    ],
)
def test_what_a_caller_would_rather_have(accept: str, kind: str) -> None:
    """RFC 9110 section 12.5.1: the highest weight, and a named type before a range."""
    offered = ("application/json", "text/html", "application/pdf")
    assert preferred_type([accept] if accept else [], offered) == kind
