"""Runs over HTTP: proposed, accepted, dissolved, pieces made anew, by several at once.

One decoration's pieces are on one run at a time and film is booked exactly once: common practice,
no source. Preconditions: RFC 9110 section 13.1.1; conflicts: section 15.5.10, from memory.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Callable
from datetime import date, timedelta
from functools import partial
from typing import Any

import pypdfium2  # type: ignore[import-untyped] # it has no types
import pytest
from defusedxml.ElementTree import fromstring
from httpx2 import Response

from service.intake import run_proposals
from service.store.tables import (
    Run,
    RunActRow,
    RunActTicket,
    RunClaim,
    RunReprint,
    StockMove,
    Ticket,
)
from tests.web.shop.bench import go, ticked
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import (
    ON_ONE_STORE,
    ON_SQLITE,
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    only_error,
    picture,
    refused,
    together,
)

ADA = {"who": "Ada"}
FOREIGN = "run_987654321"


def printed(storefront: Caller, pieces: int = 3, width_mm: int = 240) -> str:
    """The ticket of a new order for printed film."""
    order = storefront.order(line(decoration(width_mm=width_mm), sizes={"M": pieces}))
    number: str = order["tickets"][0]["number"]
    return number


def cut(storefront: Caller, pieces: int = 3) -> str:
    """The ticket of a new order for film that is cut alone: a plain square."""
    artwork = answered(storefront.upload(picture("#1f4fa0")), 201)["id"]
    wished = decoration(method="cut-film", artwork_id=artwork, width_mm=90)
    order = storefront.order(line(wished, sizes={"M": pieces}))
    number: str = order["tickets"][0]["number"]
    return number


def proposed(staff: Caller, status: int = 201, **asked: Any) -> list[Json]:
    """The runs proposed, nothing being left out."""
    answer = answered(staff.post("/v1/runs", {**ADA, **asked}), status)
    assert answer["left_out"] == []
    runs: list[Json] = answer["runs"]
    return runs


def one_proposed(staff: Caller, **asked: Any) -> Json:
    """The one run proposed."""
    (run,) = proposed(staff, **asked)
    return run


def act(staff: Caller, run: Json, what: str, body: Json | None = None, **headers: str) -> Response:
    """Do something to a run; header names have underscores for hyphens."""
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return staff.post(f"/v1/runs/{run['id']}/{what}", {**ADA, **(body or {})}, named)


def done(staff: Caller, run: Json, what: str, **body: Any) -> Json:
    """What a run has become by an act that must be possible."""
    return answered(act(staff, run, what, body), 201)


def on_runs(staff: Caller, number: str) -> list[Json]:
    """Where a ticket's pieces lie."""
    found: list[Json] = answered(staff.get(f"/v1/tickets/{number}"), 200)["runs"]
    return found


def stock(shop: ShopDoor) -> Counter[tuple[str, str, str]]:
    """What is booked in all, by medium, colour and unit."""
    found: Counter[tuple[str, str, str]] = Counter()
    for row in shop.rows(StockMove):
        found[row.item, row.colour, row.unit] += row.quantity
    return found


def test_from_tickets_to_a_run_on_the_roll(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Proposed, shown, accepted: every piece in its place, film booked, tickets told."""
    numbers = [printed(storefront, pieces) for pieces in (3, 4)]
    run = one_proposed(staff)
    assert (run["number"], run["state"], run["tickets"]) == ("R000001", "proposed", numbers)
    assert (run["medium"], run["colour"]) == ("printable-film", "White")
    assert (run["print_mirrored"], run["cut_mirrored"]) == (False, False)
    assert stock(shop) == {}
    shown = answered(staff.get(f"/v1/runs/{run['id']}"), 200)
    assert shown["legal_acts"] == ["accept", "dissolve"]
    starts = {
        number: answered(staff.get(f"/v1/tickets/{number}"), 200)["document"]["pieces_to_start"]
        for number in numbers
    }
    assert Counter(piece["ticket"] for piece in shown["pieces_placed"]) == starts
    assert shown["pieces"] == sum(starts.values())
    assert shown["pieces_placed"][0]["key"] == f"{numbers[0]}-0-1"
    accepted = done(staff, run, "accept")
    assert (accepted["state"], accepted["version"]) == ("accepted", 2)
    assert accepted["legal_acts"] == ["reprint", "dissolve"]
    assert [one["act"] for one in accepted["acts"]] == ["propose", "accept"]
    length_um = round(run["length_mm"] * 1_000)
    assert stock(shop) == {("printable-film", "White", "um"): -length_um}
    (on_first,), (on_second,) = (on_runs(staff, number) for number in numbers)
    assert (on_first["run"], on_first["first_place"]) == ("R000001", 1)
    assert on_first["last_place"] == starts[numbers[0]]
    assert on_second["last_place"] == accepted["pieces"]
    assert proposed(staff, 200) == []


@ON_SQLITE
def test_a_picture_that_leaves_much_of_its_box_free_is_nested_by_its_envelope(
    storefront: Caller, staff: Caller
) -> None:
    """The hill fills three fifths of its box, a square all: what was measured on upload decides."""
    hill, square = printed(storefront, 12, 150), cut(storefront)
    by_ticket = {run["tickets"][0]: run for run in proposed(staff)}
    assert {run["by_envelopes"] for run in by_ticket.values()} == {True, False}
    assert not by_ticket[square]["by_envelopes"]
    run = by_ticket[hill]
    assert run["bound_mm"] <= run["length_mm"] < run["length_mm"] + run["saving_mm"]
    shown = answered(staff.get(f"/v1/runs/{run['id']}"), 200)
    assert {piece["turn_deg"] for piece in shown["pieces_placed"]} & {180, 270}
    drawing = fromstring(staff.get(f"/v1/runs/{run['id']}/layout.svg").content)
    svg = "{http://www.w3.org/2000/svg}"
    (around,) = (group for group in drawing.iter(f"{svg}g") if group.get("id") == "boxes")
    assert [one.tag for one in around] == [f"{svg}path"] * run["pieces"]
    assert [one.get("id") for one in around] == [p["key"] for p in shown["pieces_placed"]]


def test_what_was_proposed_and_stands_is_not_written_again(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """The same question gives the same runs; nothing waiting gives none."""
    assert proposed(staff, 200) == []
    printed(storefront)
    first = proposed(staff)
    assert proposed(staff, 200) == first
    assert len(shop.rows(Run)) == 1
    done(staff, first[0], "dissolve")
    again = proposed(staff)
    assert [run["number"] for run in again] == ["R000002"]


@ON_SQLITE
def test_only_what_is_asked_for(storefront: Caller, staff: Caller) -> None:
    """Of one medium, or promised up to a day; other media wait on."""
    number, other = printed(storefront), cut(storefront)
    assert one_proposed(staff, medium="printable-film")["tickets"] == [number]
    assert one_proposed(staff, medium="cut-film")["tickets"] == [other]
    day = date.fromisoformat(answered(staff.get(f"/v1/tickets/{number}"), 200)["promised_day"])
    before = (day - timedelta(days=20)).isoformat()
    assert proposed(staff, 200, until=before) == []
    assert len(proposed(staff, 200, until=day.isoformat())) in {1, 2}
    assert proposed(staff, 200, medium="no-such-film") == []


@ON_SQLITE
def test_halted_cancelled_and_begun_tickets_do_not_wait(storefront: Caller, staff: Caller) -> None:
    """Set aside, cancelled, made or with its film cut not proposed; on the bench it is."""
    halted, cancelled, begun, made, started = (printed(storefront) for _ in range(5))
    go(staff, halted, "halt")
    go(staff, cancelled, "cancel")
    go(staff, made, "start", "finish")
    for number in (begun, started):
        go(staff, number, "start")
    steps = answered(staff.get(f"/v1/tickets/{begun}"), 200)["document"]["steps"]
    key = next(step["key"] for step in steps if step["kind"] == "print")
    ticked(staff, begun, key)
    assert one_proposed(staff)["tickets"] == [started]
    ticked(staff, begun, key, done=False)
    assert {begun, started} == {n for run in proposed(staff) for n in run["tickets"]}


def test_dissolving_gives_back_film_and_tickets(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """What was booked is booked back by a row of its own, and the tickets wait again."""
    number = printed(storefront)
    run = one_proposed(staff)
    done(staff, run, "accept", note="roll 7")
    assert on_runs(staff, number)
    gone = done(staff, run, "dissolve", note="wrong roll")
    assert (gone["state"], gone["legal_acts"]) == ("dissolved", [])
    assert [one["note"] for one in gone["acts"]] == ["", "roll 7", "wrong roll"]
    moves = shop.rows(StockMove)
    assert [(row.reason, row.run_id) for row in moves] == [
        ("run", run["id"]),
        ("run_dissolved", run["id"]),
    ]
    assert sum(row.quantity for row in moves) == 0
    assert on_runs(staff, number) == []
    assert one_proposed(staff)["tickets"] == [number]
    for what in ("accept", "dissolve"):
        problem = refused(act(staff, run, what), 409, "run-not-legal")
        assert (problem["state"], problem["legal_acts"]) == ("dissolved", [])


def test_begun_work_is_not_dissolved(storefront: Caller, staff: Caller) -> None:
    """Once printing is ticked off the film is used; taken back, it is not."""
    number = printed(storefront)
    run = one_proposed(staff)
    done(staff, run, "accept")
    go(staff, number, "start")
    steps = answered(staff.get(f"/v1/tickets/{number}"), 200)["document"]["steps"]
    key = next(step["key"] for step in steps if step["kind"] == "print")
    ticked(staff, number, key)
    problem = refused(act(staff, run, "dissolve"), 409, "run-not-legal")
    assert problem["legal_acts"] == ["reprint"]
    assert number in problem["detail"]
    ticked(staff, number, key, done=False)
    done(staff, run, "dissolve")


@ON_SQLITE
def test_a_run_of_a_ticket_that_was_made_is_not_dissolved(
    storefront: Caller, staff: Caller
) -> None:
    """Its film is used, whether its steps were ticked off or not."""
    number = printed(storefront)
    run = one_proposed(staff)
    done(staff, run, "accept")
    go(staff, number, "start")
    finish_all(staff, number)
    problem = refused(act(staff, run, "dissolve"), 409, "run-not-legal")
    assert f"{number} is made" in problem["detail"]


def finish_all(staff: Caller, number: str) -> None:
    """Enter every piece as good and finish the ticket, whether its steps are ticked or not."""
    wanted = answered(staff.get(f"/v1/tickets/{number}"), 200)["document"]["pieces_by_size"]
    for size, count in wanted.items():
        entry = {"kind": "done", "size": size, "count": count, "who": "Ada"}
        answered(staff.post(f"/v1/tickets/{number}/pieces", entry), 201)
    go(staff, number, "finish")


def test_spoiled_pieces_join_the_next_run(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """They are numbered on, ganged with what waits, and marked as made; film is booked for both."""
    number = printed(storefront)
    run = one_proposed(staff)
    accepted = done(staff, run, "accept")
    own = accepted["pieces"]
    asked = {"ticket": number, "decoration": 0, "pieces": 2, "note": "scorched"}
    spoiled = done(staff, run, "reprints", **asked)
    (entry,) = spoiled["reprints"]
    assert (entry["pieces"], entry["first_piece"], entry["done_by"]) == (2, own + 1, None)
    refused(act(staff, run, "dissolve"), 409, "run-not-legal")
    other = printed(storefront)
    following = one_proposed(staff)
    assert set(following["tickets"]) == {number, other}
    shown = done(staff, following, "accept")
    keys = {piece["key"] for piece in shown["pieces_placed"] if piece["ticket"] == number}
    assert keys == {f"{number}-0-{own + 1}", f"{number}-0-{own + 2}"}
    (entry,) = answered(staff.get(f"/v1/runs/{run['id']}"), 200)["reprints"]
    assert entry["done_by"] == following["number"]
    assert [(one["run"], one["first_piece"]) for one in on_runs(staff, number)] == [
        (run["number"], 1),
        (following["number"], own + 1),
    ]
    both_um = round((run["length_mm"] + following["length_mm"]) * 1_000)
    assert stock(shop) == {("printable-film", "White", "um"): -both_um}
    assert proposed(staff, 200) == []
    done(staff, following, "dissolve")
    assert [row.done_by_run_id for row in shop.rows(RunReprint)] == [None]
    assert {n for run in proposed(staff) for n in run["tickets"]} == {number, other}


@ON_SQLITE
@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"ticket": "T000999"}, "ticket"),
        ({"decoration": 1}, "decoration"),
        ({"pieces": 9_999}, "pieces"),
        ({"pieces": 0}, "pieces"),
        ({"who": ""}, "who"),
    ],
)
def test_what_cannot_be_made_anew(
    storefront: Caller, staff: Caller, change: Json, field: str
) -> None:
    """A ticket or decoration that is not there, and more pieces than lie there, are named."""
    number = printed(storefront)
    run = one_proposed(staff)
    refused(act(staff, run, "reprints", {"ticket": number}), 409, "run-not-legal")
    done(staff, run, "accept")
    answer = act(staff, run, "reprints", {"ticket": number, **change})
    assert only_error(refused(answer, 422, "fields-refused"))["pointer"] == f"#/{field}"


@ON_SQLITE
def test_nothing_is_made_anew_for_a_ticket_that_is_made(storefront: Caller, staff: Caller) -> None:
    """It must be put back on the bench first."""
    number = printed(storefront)
    run = one_proposed(staff)
    done(staff, run, "accept")
    go(staff, number, "start", "finish")
    answer = act(staff, run, "reprints", {"ticket": number})
    assert refused(answer, 409, "run-ticket-taken")["tickets"] == [number]
    go(staff, number, "redo")
    done(staff, run, "reprints", ticket=number)


def _cancel(staff: Caller, number: str) -> None:
    go(staff, number, "cancel")


def _halt(staff: Caller, number: str) -> None:
    go(staff, number, "halt")


def _make(staff: Caller, number: str) -> None:
    go(staff, number, "start", "finish")


@pytest.mark.parametrize("meanwhile", [_cancel, _halt, _make])
def test_a_ticket_that_is_gone_meanwhile(
    shop: ShopDoor, storefront: Caller, staff: Caller, meanwhile: Callable[[Caller, str], None]
) -> None:
    """Cancelled, halted or made since: the run is refused whole and nothing is booked."""
    numbers = [printed(storefront) for _ in range(2)]
    run = one_proposed(staff)
    meanwhile(staff, numbers[0])
    before = shop.row_counts()
    problem = refused(act(staff, run, "accept"), 409, "run-ticket-taken")
    assert problem["tickets"] == [numbers[0]]
    assert shop.row_counts() == before
    assert one_proposed(staff)["tickets"] == [numbers[1]]


def test_two_accept_overlapping_proposals_at_once(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Exactly one wins, and its film alone is booked."""
    first = printed(storefront)
    small = one_proposed(staff)
    printed(storefront)
    large = one_proposed(staff)
    assert first in small["tickets"]
    assert first in large["tickets"]
    answers = together([partial(act, staff, run, "accept") for run in (small, large)])
    assert sorted(answer.status_code for answer in answers) == [201, 409]
    won = next(answer.json() for answer in answers if answer.status_code == 201)
    lost = next(answer for answer in answers if answer.status_code == 409)
    assert refused(lost, 409, "run-ticket-taken")["tickets"] == [first]
    assert stock(shop) == {("printable-film", "White", "um"): -round(won["length_mm"] * 1_000)}
    assert {row.run_id for row in shop.rows(RunClaim)} == {won["id"]}


def test_many_accept_one_run_at_once(shop: ShopDoor, storefront: Caller, staff: Caller) -> None:
    """It is accepted and booked once; with one key all hear the same."""
    printed(storefront)
    run = one_proposed(staff)
    keyed = partial(act, staff, run, "accept", Idempotency_Key="a-key-that-is-one")
    answers = together([keyed] * 3 + [partial(act, staff, run, "accept")] * 2)
    assert len(shop.rows(StockMove)) == 1
    assert Counter(answer.status_code for answer in answers) in (
        Counter({201: 3, 409: 2}),
        Counter({201: 1, 409: 4}),
    )


def test_cancelling_and_accepting_at_once(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Either the run holds a live ticket, or it was not accepted."""
    number = printed(storefront)
    run = one_proposed(staff)
    accepting, cancelling = together(
        [partial(act, staff, run, "accept"), partial(staff.move, number, "cancel")]
    )
    assert cancelling.status_code == 201
    (state,) = [row.state for row in shop.rows(Ticket)]
    assert state == "cancelled"
    assert accepting.status_code in {201, 409}
    assert len(shop.rows(RunClaim)) == (1 if accepting.status_code == 201 else 0)


def test_whoever_looked_at_another_state_is_told(storefront: Caller, staff: Caller) -> None:
    """If-Match of a run that changed since is a 412 that says who did what."""
    printed(storefront)
    run = one_proposed(staff)
    seen = staff.get(f"/v1/runs/{run['id']}").headers["etag"]
    assert act(staff, run, "accept", If_Match=seen).status_code == 201
    problem = refused(act(staff, run, "dissolve", If_Match=seen), 412, "run-changed")
    assert "Ada" in problem["detail"]
    refused(act(staff, run, "dissolve", If_Match="7"), 400, "precondition-malformed")
    now = staff.get(f"/v1/runs/{run['id']}").headers["etag"]
    assert act(staff, run, "dissolve", If_Match=now).status_code == 201


def test_a_tickets_version_counts_its_runs(
    shop: ShopDoor, storefront: Caller, staff: Caller
) -> None:
    """Whoever looked at the ticket before it went onto a run is told of that."""
    number = printed(storefront)
    seen = staff.get(f"/v1/tickets/{number}").headers["etag"]
    run = one_proposed(staff)
    assert staff.get(f"/v1/tickets/{number}", {"If-None-Match": seen}).status_code == 304
    done(staff, run, "accept")
    assert staff.get(f"/v1/tickets/{number}", {"If-None-Match": seen}).status_code == 200
    problem = refused(staff.move(number, "start", If_Match=seen), 412, "ticket-changed")
    assert run["number"] in problem["detail"]
    done(staff, run, "dissolve")
    assert [row.version for row in shop.rows(RunActTicket)] == [2, 3]


def test_rows_stay(shop: ShopDoor, storefront: Caller, staff: Caller) -> None:
    """Of all that was done to runs only claims are ever deleted."""
    printed(storefront)
    run = one_proposed(staff)
    done(staff, run, "accept")
    before = shop.row_counts()
    done(staff, run, "dissolve")
    after = shop.row_counts()
    assert {name for name, count in before.items() if after[name] < count} == {"run_claim"}
    assert [row.act for row in shop.rows(RunActRow)] == ["propose", "accept", "dissolve"]


def test_a_run_that_is_not_there(standing_shop: ShopDoor) -> None:
    """Every address of one is the same 404."""
    staff = standing_shop.staff
    run = {"id": FOREIGN}
    answers = [staff.get(f"/v1/runs/{FOREIGN}{end}") for end in ("", "/layout.svg", "/print.pdf")]
    answers += [act(staff, run, what) for what in ("accept", "dissolve")]
    answers.append(act(staff, run, "reprints", {"ticket": "T000001"}))
    for answer in answers:
        refused(answer, 404, "run-not-found")


def test_a_list_page_by_page(storefront: Caller, staff: Caller) -> None:
    """The newest first, by state, each once."""
    for _ in range(3):
        printed(storefront)
        proposed(staff)
    runs = answered(staff.get("/v1/runs"), 200)
    numbers = [run["number"] for run in runs["runs"]]
    assert numbers == sorted(numbers, reverse=True)
    found: list[str] = []
    address = "/v1/runs?limit=1&state=proposed"
    while address:
        page = answered(staff.get(address), 200)
        found += [run["number"] for run in page["runs"]]
        address = page["next"]
    assert found == numbers
    done(staff, runs["runs"][0], "dissolve")
    dissolved = answered(staff.get("/v1/runs?state=dissolved"), 200)
    assert [run["number"] for run in dissolved["runs"]] == numbers[:1]
    assert dissolved["states"] == {"proposed": len(numbers) - 1, "dissolved": 1}
    refused(staff.get("/v1/runs?state=folded"), 422, "fields-refused")
    refused(staff.get("/v1/runs?cursor=abc"), 400, "cursor-refused")


def test_what_no_run_can_take_is_told(shop: ShopDoor, storefront: Caller, staff: Caller) -> None:
    """A ticket whose medium the catalogue has lost, or has in a narrower roll since."""
    number = printed(storefront)
    catalogue = demo_catalogue().catalogue
    narrow = [
        one.model_copy(update={"width_mm": 200.0}) if one.id == "printable-film" else one
        for one in catalogue.media
    ]
    put_in_force(shop, changed_catalogue(media=tuple(narrow)))
    answer = answered(staff.post("/v1/runs", ADA), 200)
    assert answer["runs"] == []
    (left_out,) = answer["left_out"]
    assert (left_out["ticket"], left_out["medium"]) == (number, "printable-film")
    assert "does not fit the 176 mm" in left_out["why"]


@ON_SQLITE
def test_layout_and_print_file_of_a_run(storefront: Caller, staff: Caller) -> None:
    """Both in true size; unchanged for whoever has them, and drawn anew once it is accepted."""
    number = printed(storefront)
    run = one_proposed(staff)
    drawing = staff.get(f"/v1/runs/{run['id']}/layout.svg")
    assert drawing.headers["content-type"] == "image/svg+xml"
    tree = fromstring(drawing.text)
    assert tree.get("width") == "500mm"
    assert "PROPOSED" in drawing.text
    assert f"{number}-0-1" in drawing.text
    kept = {"If-None-Match": drawing.headers["etag"]}
    assert staff.get(f"/v1/runs/{run['id']}/layout.svg", kept).status_code == 304
    done(staff, run, "accept")
    again = staff.get(f"/v1/runs/{run['id']}/layout.svg", kept)
    assert again.status_code == 200
    assert "PROPOSED" not in again.text
    file = staff.get(f"/v1/runs/{run['id']}/print.pdf")
    assert file.headers["content-type"] == "application/pdf"
    with pypdfium2.PdfDocument(io.BytesIO(file.content)) as document:
        width, length = (side / 72 * 25.4 for side in document[0].get_size())
    assert (width, length) == pytest.approx((500, run["length_mm"]), abs=0.01)
    kept = {"If-None-Match": file.headers["etag"]}
    assert staff.get(f"/v1/runs/{run['id']}/print.pdf", kept).status_code == 304
    assert staff.get(f"/v1/runs/{run['id']}/print.pdf").content == file.content


def test_a_run_that_is_only_cut_has_no_print_file(storefront: Caller, staff: Caller) -> None:
    """A plain sentence says why."""
    cut(storefront)
    run = one_proposed(staff)
    problem = refused(staff.get(f"/v1/runs/{run['id']}/print.pdf"), 404, "run-not-printed")
    assert "only cut" in problem["detail"]
    assert 'id="cut"' in staff.get(f"/v1/runs/{run['id']}/layout.svg").text


@ON_SQLITE
def test_the_most_urgent_tickets_go_first_where_too_many_wait(
    storefront: Caller, staff: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The others are told of, and come with the next proposal."""
    numbers = [printed(storefront) for _ in range(3)]
    monkeypatch.setattr(run_proposals, "MOST_TICKETS", 2)
    answer = answered(staff.post("/v1/runs", ADA), 201)
    assert [run["tickets"] for run in answer["runs"]] == [numbers[:2]]
    assert answer["more_wait"]
    done(staff, answer["runs"][0], "accept")
    answer = answered(staff.post("/v1/runs", ADA), 201)
    assert [run["tickets"] for run in answer["runs"]] == [numbers[2:]]
    assert not answer["more_wait"]


@ON_ONE_STORE
def test_storefronts_hear_nothing_of_runs(standing_shop: ShopDoor) -> None:
    """They are the bench's own."""
    refused(standing_shop.storefront.post("/v1/runs", ADA), 403, "scope-missing")
    refused(standing_shop.storefront.get(f"/v1/runs/{FOREIGN}"), 403, "scope-missing")
