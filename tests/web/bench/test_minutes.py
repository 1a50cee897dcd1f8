"""What work took, entered at the bench: where it can be, with what was typed kept if refused."""

from __future__ import annotations

from service.store.tables import RecordedMinutes
from tests.web.bench.hand import Hand, strict_page, text_of
from tests.web.shop.door import ShopDoor

PRESS = "d1-6-press"


def test_minutes_are_entered_beside_whatever_was_done_since(
    workroom: ShopDoor, ada: Hand, number: str
) -> None:
    """A form of an older page is taken too, and a comma does for a point; the entry is shown."""
    assert "What it took" not in text_of(ada.page(f"/bench/tickets/{number}?step={PRESS}"))
    workroom.staff.moves(number, "start")
    hidden = ada.hidden(number)
    assert "What it took" in text_of(ada.page(f"/bench/tickets/{number}?step={PRESS}"))
    assert "What it took" not in text_of(ada.page(f"/bench/tickets/{number}?step=d1-2-dry"))
    ada.done(number, "ticks", step="gather", ticked="yes")
    sent = ada.send(number, "minutes", hidden, step=PRESS, minutes="12,5", pieces="5")
    assert sent.status_code == 303
    (row,) = workroom.rows(RecordedMinutes)
    assert (row.taken_ms, row.pieces, row.interrupted, row.who) == (750_000, 5, False, "Ada")
    shown = text_of(ada.page(f"/bench/tickets/{number}?step={PRESS}"))
    assert "12.5 min for 5 pieces by Ada" in shown


def test_minutes_that_are_not_taken(workroom: ShopDoor, ada: Hand, number: str) -> None:
    """Why is said in words, and what was typed is still in its fields."""
    workroom.staff.moves(number, "start")
    before = len(workroom.rows(RecordedMinutes))
    for minutes, pieces, said in (
        ("soon", "5", "Give minutes as a number above 0"),
        ("1500", "5", "at most 1,440"),
        ("12", "", "Give how many pieces"),
        ("12", "4000", "this ticket has blanks for"),
    ):
        refused = ada.send(number, "minutes", step=PRESS, minutes=minutes, pieces=pieces)
        assert refused.status_code == 422
        page = strict_page(refused)
        assert said in text_of(page)
        (field,) = [one for one in page.iter("input") if one.get("id") == "minutes"]
        assert field.get("value") == minutes
    assert len(workroom.rows(RecordedMinutes)) == before
