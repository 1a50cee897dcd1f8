"""The ticket's page and its forms: what is shown, what is taken, and who was quicker."""

from __future__ import annotations

from datetime import timedelta
from xml.etree.ElementTree import Element

import pytest

from service.domain.ticket import TicketDocument
from service.domain.ticket_states import Move, TicketState
from service.store.tables import TicketMove, TicketNote, TicketPiece, TicketTick
from service.web.bench.words import MOVE_WORDS, STATE_WORDS
from tests.conftest import FakeClock
from tests.web.bench.hand import Hand, strict_page, text_of
from tests.web.shop.door import ShopDoor, answered, line, supplied_line

HOSTILE = (
    "</textarea><script>alert(1)</script><img src=x onerror=alert(2)> {{ 7 * 7 }} &lt; \"'`\n"
    "\u202eright to left override \u0645\u0631\u062d\u0628\u0627 \u05e9\u05dc\u05d5\u05dd\n"
    "\U0001f9f5\U0001f468\u200d\U0001f469\u200d\U0001f467 \x07 \ufdd0 "
)


def buttons(page: Element, name: str) -> set[str]:
    """Values of the buttons of that name."""
    found = (one for one in page.iter("button") if one.get("name") == name)
    return {str(one.get("value")) for one in found}


SVG = "{http://www.w3.org/2000/svg}"


def at(number: str, **query: str) -> str:
    """Address of a ticket's page."""
    asked = "&".join(f"{name}={value}" for name, value in query.items())
    return f"/bench/tickets/{number}" + (f"?{asked}" if asked else "")


def document(workroom: ShopDoor, number: str) -> TicketDocument:
    """The ticket's document, as the API gives it."""
    answer = answered(workroom.staff.get(f"/v1/tickets/{number}"), 200)
    return TicketDocument.model_validate(answer["document"])


def test_the_page_holds_every_setting_of_every_step(
    ada: Hand, workroom: ShopDoor, number: str
) -> None:
    """Words, why, caution, both temperatures, the sign of mirroring, and a timer for each dwell."""
    steps = document(workroom, number).steps
    assert {step.mirrored for step in steps} == {None, False}
    for step in steps:
        page = ada.page(at(number, step=step.key))
        shown = text_of(page)
        for words in (step.words, step.why, step.caution, step.mirror_words):
            assert " ".join(words.split()) in shown
        timers = [one for one in page.iter("div") if one.get("data-dwell-s")]
        assert [float(str(one.get("data-dwell-s"))) for one in timers] == (
            [step.dwell_s] if step.dwell_s else []
        )
        if step.settings:
            # SI Brochure: t/°C = T/K - 273.15; degrees Fahrenheit are 9/5 of that and 32, exact.
            assert f"{step.settings.set_c:g} °C ({step.settings.set_c * 1.8 + 32:g} °F)" in shown


def test_a_ticket_goes_all_the_way(ada: Hand, workroom: ShopDoor, number: str) -> None:
    """Started, ticked off step by step, counted by size, finished, checked and sent, by name."""
    ada.done(number, "moves", move="start")
    for step in document(workroom, number).steps:
        ada.done(number, "ticks", step=step.key, ticked="yes")
    ada.done(number, "pieces", size="M", count="3", kind="done")
    assert "finish" not in buttons(ada.page(at(number)), "move")
    ada.done(number, "pieces", size="L", count="2", kind="done")
    for move in ("finish", "check", "send"):
        ada.done(number, "moves", move=move, note=f"note of {move}")
    page = ada.page(at(number))
    assert buttons(page, "move") == set()
    assert "Every step is ticked off." in text_of(page)
    answer = answered(workroom.staff.get(f"/v1/tickets/{number}"), 200)
    assert answer["state"] == "sent"
    assert [move["who"] for move in answer["moves"]] == ["Ada"] * 4
    assert {tick["who"] for tick in answer["ticks"].values()} == {"Ada"}
    assert "note of finish" in text_of(page)


def test_the_first_step_not_ticked_off_is_shown_large(
    ada: Hand, workroom: ShopDoor, number: str
) -> None:
    """A tick leads on to the next step, and taking it back leads back."""
    first, second, *_ = document(workroom, number).steps
    ada.done(number, "moves", move="start")
    total = len(document(workroom, number).steps)

    def shown() -> str:
        return text_of(ada.page(at(number)))

    assert f"Step 1 of {total}" in shown()
    ada.done(number, "ticks", step=first.key, ticked="yes")
    assert f"Step 2 of {total}" in shown()
    assert second.words.split(".")[0] in shown()
    ada.done(number, "ticks", step=first.key, ticked="no")
    assert f"Step 1 of {total}" in shown()


@pytest.mark.parametrize("done", [(), ("start",), ("halt",), ("start", "halt")])
def test_only_legal_moves_are_offered(
    ada: Hand, workroom: ShopDoor, number: str, done: tuple[str, ...]
) -> None:
    """The buttons are the moves that the API names as legal, and another move is refused."""
    for move in done:
        ada.done(number, "moves", move=move)
    answer = answered(workroom.staff.get(f"/v1/tickets/{number}"), 200)
    page = ada.page(at(number))
    assert buttons(page, "move") == set(answer["legal_moves"])
    refused = ada.send(number, "moves", move="send", note="typed")
    assert refused.status_code == 409
    shown = strict_page(refused)
    assert "Moves open to it:" in text_of(shown)
    assert "typed" in [text_of(one) for one in shown.iter("textarea")]


def test_a_made_up_move_is_refused_in_words(ada: Hand, started: str) -> None:
    """A form that no page made says what to do instead."""
    for move in ("", "sell", "START"):
        answer = ada.send(started, "moves", move=move)
        assert answer.status_code == 422
        assert "Press one of the buttons." in text_of(strict_page(answer))


@pytest.mark.parametrize(
    ("fields", "status", "said"),
    [
        ({"kind": "done", "count": "4"}, 409, "3 at most"),
        ({"kind": "spoiled", "reason": "scorched", "count": "99"}, 409, "at most"),
        ({"kind": "spoiled", "reason": ""}, 422, "reason"),
        ({"kind": "spoiled", "reason": "other"}, 422, "needs a note"),
        ({"kind": "undo-done"}, 409, "0 at most"),
        ({"kind": "done", "count": "0"}, 422, "whole number"),
        ({"kind": "done", "count": "-1"}, 422, "whole number"),
        ({"kind": "done", "count": "1.5"}, 422, "whole number"),
        ({"kind": "done", "count": "\u0661"}, 422, "whole number"),
        ({"kind": "done", "count": "9" * 5000}, 422, "whole number"),
        ({"kind": "done", "size": "XXL"}, 422, "XXL"),
        ({"kind": "moved"}, 422, "Press one of the buttons."),
    ],
)
def test_pieces_that_cannot_be_are_refused_and_shown_again(
    ada: Hand, started: str, fields: dict[str, str], status: int, said: str
) -> None:
    """What was typed stays in its fields, and nothing is entered."""
    given = {"size": "M", "count": "1", "note": "typed by hand", **fields}
    if fields.get("reason") == "other":
        given["note"] = ""
    answer = ada.send(started, "pieces", **given)
    page = strict_page(answer)
    assert (answer.status_code, said in text_of(page)) == (status, True)
    assert "Nothing of yours was saved" in text_of(page)
    (note,) = [one for one in page.iter("textarea") if one.get("id") == "piece-note"]
    assert text_of(note) == given["note"]


def test_spoiled_pieces_beyond_the_spares_open_a_remake(
    ada: Hand, workroom: ShopDoor, number: str
) -> None:
    """Reason and note stand in the history; the remake is another ticket, and both say so."""
    ada.done(number, "moves", move="start")
    spares = document(workroom, number).starts_by_size["M"] - 3
    ada.done(
        number,
        "pieces",
        size="M",
        count=str(spares + 1),
        kind="spoiled",
        reason="ghosted",
        note="slid",
    )
    page = text_of(ada.page(at(number)))
    assert "a second, shifted picture" in page
    assert "slid" in page
    assert "No blank is left for 1 × M" in page
    ada.done(number, "remakes")
    (remake,) = workroom.staff.get(f"/v1/tickets/{number}").json()["remakes"]
    assert remake in text_of(ada.page(at(number)))
    links = [one.get("href") for one in ada.page(at(remake)).iter("a")]
    assert at(number) in links


def test_an_entry_is_taken_back_by_another(ada: Hand, workroom: ShopDoor, number: str) -> None:
    """Nothing is struck out: both stand in the history, and the count is as before."""
    ada.done(number, "moves", move="start")
    ada.done(number, "pieces", size="L", count="2", kind="done")
    ada.done(number, "pieces", size="L", count="1", kind="undo-done")
    pieces = answered(workroom.staff.get(f"/v1/tickets/{number}"), 200)["pieces"]
    assert pieces["L"]["good"] == 1
    shown = text_of(ada.page(at(number)))
    assert "2 pieces of size L done" in shown
    assert "Took back 1 piece of size L entered as done" in shown


FORMS = {
    "moves": {"move": "halt", "note": "mine"},
    "pieces": {"size": "M", "count": "2", "kind": "done", "note": "mine"},
    "ticks": {"ticked": "yes", "step": "gather"},
    "notes": {"note": "mine"},
    "remakes": {},
}


@pytest.mark.parametrize("form", FORMS)
def test_whoever_comes_second_overwrites_nothing(
    ada: Hand, bob: Hand, workroom: ShopDoor, clock: FakeClock, number: str, form: str
) -> None:
    """The page says who did what and when since one looked, as it stands, with all one typed."""
    ada.done(number, "moves", move="start")
    looked = ada.hidden(number)
    clock.advance(timedelta(minutes=7))
    bob.done(number, "pieces", size="L", count="1", kind="done")
    before = workroom.row_counts()
    answer = ada.send(number, form, looked, **FORMS[form])
    assert answer.status_code == 409
    page = strict_page(answer)
    (alert,) = [one for one in page.iter("div") if one.get("role") == "alert"]
    assert f"Since you looked at ticket {number}, Bob entered 1 of size L as done" in text_of(alert)
    assert "Bob, Mon 2 Mar 2026" in text_of(alert)
    assert "Ada" not in text_of(alert)
    typed = [text_of(one) for one in page.iter("textarea")]
    assert ("mine" in typed) == ("note" in FORMS[form])
    assert workroom.row_counts() == before
    (version,) = {one.get("value") for one in page.iter("input") if one.get("name") == "version"}
    assert version == str(answered(workroom.staff.get(f"/v1/tickets/{number}"), 200)["version"])


@pytest.mark.parametrize("version", ["", "0", "-1", "x", "9" * 400, "\u0661", "2.0"])
def test_a_form_without_a_good_version_is_not_taken(ada: Hand, started: str, version: str) -> None:
    """Whatever is no version the ticket has stands for one that is over."""
    hidden = {**ada.hidden(started), "version": version, "seen_at": "9" * 300}
    answer = ada.send(started, "moves", hidden, move="halt")
    assert answer.status_code == 409
    strict_page(answer)


def test_hostile_notes_are_shown_plainly(ada: Hand, workroom: ShopDoor, number: str) -> None:
    """Markup, templates, overrides, emoji and controls: text on the page, never more."""
    note = (HOSTILE * 30)[:4_000]
    ada.done(number, "notes", note=note)
    ada.done(number, "moves", move="halt", note=HOSTILE)
    page = ada.page(at(number))
    scripts = list(page.iter("script"))
    assert [one.text for one in scripts] == [None]
    assert {one.get("src") for one in page.iter("img")} == {f"/bench/tickets/{number}/proofs/0"}
    assert not [name for one in page.iter() for name in one.attrib if name.startswith("on")]
    shown = text_of(page)
    assert "<script>alert(1)</script><img src=x onerror=alert(2)> {{ 7 * 7 }} &lt;" in shown
    assert "\U0001f9f5\U0001f468\u200d\U0001f469\u200d\U0001f467 [U+0007] [U+FDD0]" in shown
    (kept,) = [row.text for row in workroom.rows(TicketNote) if len(row.text) > 1_000]
    assert kept == note.strip() or kept == note


@pytest.mark.parametrize("length", [4_001, 40_000])
def test_a_note_that_is_too_long_is_given_back(ada: Hand, started: str, length: int) -> None:
    """In words, with the whole of it still there."""
    note = "\U0001f9f5" * 4_001 if length == 4_001 else "n" * length
    answer = ada.send(started, "notes", note=note)
    assert answer.status_code == 422
    page = strict_page(answer)
    assert "4,000" in text_of(page)
    assert note in [text_of(one) for one in page.iter("textarea")]


def test_a_form_beyond_all_bounds_is_refused(ada: Hand, started: str) -> None:
    """Before it is read whole (RFC 9110 section 15.5.14)."""
    assert ada.send(started, "notes", note="n" * 200_000).status_code == 413


def test_line_ends_are_those_of_text(ada: Hand, workroom: ShopDoor, number: str) -> None:
    """A form writes every line end as two characters; the store keeps one."""
    ada.done(number, "notes", note="one\r\ntwo\rthree")
    assert "one\ntwo\nthree" in {row.text for row in workroom.rows(TicketNote)}


@pytest.mark.parametrize("number_", ["T999999", "x" * 17, "..%2f..", "T1'", "%00", "\u0661"])
def test_there_is_no_such_ticket(ada: Hand, number_: str) -> None:
    """A page says so, or the address is refused before; never more than that."""
    answer = ada.get(f"/bench/tickets/{number_}")
    assert answer.status_code in {400, 404, 422}


def test_the_proof_is_a_picture_of_the_session_alone(
    ada: Hand, workroom: ShopDoor, number: str
) -> None:
    """Served below /bench by the cookie; a stranger is led to sign in, and there is no other."""
    picture = ada.get(f"/bench/tickets/{number}/proofs/0", headers={"Accept": "image/png"})
    assert picture.status_code == 200
    assert picture.headers["content-type"] == "image/png"
    # PNG (ISO/IEC 15948) section 5.2: the signature, then width and height from byte 16 on.
    assert picture.content.startswith(b"\x89PNG\r\n\x1a\n")
    width, height = (int.from_bytes(picture.content[at : at + 4], "big") for at in (16, 20))
    (shown,) = ada.page(f"/bench/tickets/{number}").iter("img")
    assert (shown.get("width"), shown.get("height")) == (str(width), str(height))
    for index in ("1", "-1", "99999999999999999999"):
        assert ada.get(f"/bench/tickets/{number}/proofs/{index}").status_code == 404
    stranger = Hand.stranger(workroom)
    assert stranger.get(f"/bench/tickets/{number}/proofs/0").status_code == 303


def test_the_papers_are_had_by_the_session(ada: Hand, workroom: ShopDoor, number: str) -> None:
    """Sheet, labels and care card are linked from the page, and no stranger gets them."""
    links = [str(one.get("href")) for one in ada.page(at(number)).iter("a")]
    papers = [link for link in links if link.endswith(".pdf")]
    assert len(papers) == 3
    assert ada.get(f"{at(number)}/sheet.html").headers["content-type"].startswith("text/html")
    assert f"{at(number)}/sheet.html" in links
    for paper in papers:
        answer = ada.get(paper)
        assert answer.status_code == 200
        # ISO 32000-1 section 7.5.2, from memory: a PDF begins with its version.
        assert answer.content.startswith(b"%PDF-")
        assert Hand.stranger(workroom).get(paper).status_code == 303


def test_a_garment_the_customer_brings_has_no_picture(ada: Hand, workroom: ShopDoor) -> None:
    """The page says why, and draws where the print goes."""
    order = workroom.storefront.order(supplied_line())
    page = ada.page(at(order["tickets"][0]["number"]))
    assert list(page.iter("img")) == []
    shown = text_of(page)
    assert "No picture: this garment is the customer's own" in shown
    assert "without an outline: the garment was not measured" in shown
    assert "65 mm (2.56 in)" in [text_of(one) for one in page.iter(f"{SVG}text")]


def test_a_tick_taken_back_stays_in_the_history(ada: Hand, workroom: ShopDoor, number: str) -> None:
    """The answer and the page name both acts, though the step stands as before."""
    ada.done(number, "moves", move="start")
    for ticked in ("yes", "no"):
        ada.done(number, "ticks", step="gather", ticked=ticked)
    answer = answered(workroom.staff.get(f"/v1/tickets/{number}"), 200)
    assert answer["ticks"] == {}
    entries = [(one["step_key"], one["done"], one["who"]) for one in answer["tick_entries"]]
    assert entries == [("gather", True, "Ada"), ("gather", False, "Ada")]
    shown = text_of(ada.page(at(number)))
    assert "Ticked off step 1, gather" in shown
    assert "Took back the tick of step 1, gather" in shown


def test_why_a_ticket_was_halted_stands_above_all(ada: Hand, number: str) -> None:
    """Who set it aside and what they wrote come before the ticket's own number."""
    ada.done(number, "moves", move="halt", note="The roll is <b>empty</b>.")
    shown = text_of(ada.page(at(number)))
    assert shown.index("The roll is <b>empty</b>.") < shown.index("Promised")
    ada.done(number, "moves", move="resume")
    shown = text_of(ada.page(at(number)))
    assert shown.index("The roll is <b>empty</b>.") > shown.index("History")


def test_every_act_bears_the_name_of_the_session(ada: Hand, workroom: ShopDoor) -> None:
    """A name sent with a form counts for nothing."""
    number = workroom.storefront.order(line())["tickets"][0]["number"]
    ada.done(number, "moves", move="start", who="Mallory")
    ada.done(number, "pieces", size="M", count="1", kind="done", who="Mallory")
    ada.done(number, "notes", note="n", who="Mallory")
    first = document(workroom, number).steps[0]
    ada.done(number, "ticks", step=first.key, ticked="yes", who="Mallory")
    for table in (TicketMove, TicketPiece, TicketNote, TicketTick):
        assert "Mallory" not in {row.who for row in workroom.rows(table)}


def test_the_words_for_moves_and_states_are_complete() -> None:
    """Every state and move of the domain's table has a word, so no page fails for want of one."""
    assert STATE_WORDS.keys() == set(TicketState)
    assert MOVE_WORDS.keys() == set(Move)
