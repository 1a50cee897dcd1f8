"""Accepting several quotes in one transaction is accepting them one after another.

The law is checked against the same code asked for one quote at a time, and against what the shop
has: material and minutes for some of them only. That a refusal is kept under its key and an unknown
name is not follows the IETF httpapi draft "The Idempotency-Key HTTP Header Field" where it speaks,
and is the service's own rule where it does not.
"""

from __future__ import annotations

import itertools
import json
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any, NamedTuple, TypeVar, cast

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlmodel import Session

from service.domain.errors import BadInput, NotFound, ServiceError
from service.intake.accepting import Acceptance, accept_quotes
from service.intake.answers import OrderAnswer
from service.intake.idempotency import KEPT_FOR, Outcome, RequestKey, WorkedOn, do_each_once
from service.intake.requests import OrderRequest
from service.intake.services import Caller, Services
from service.store import migrate
from service.store.database import Database
from service.store.tables import KeptDocument, Quote, StoredAnswer, metadata
from tests.conftest import STORES, FakeClock
from tests.web.shop.conftest import counting_ids, opened_shop
from tests.web.shop.door import Json, ShopDoor, answered, decoration, line, picture, together
from tests.web.shop.test_capacity import install_press
from tests.web.shop.test_stock import FILM, TEE, booked

T = TypeVar("T")

INK = {"kind": "ink", "item": "pigment-printer"}
LARGE_TEE = {**TEE, "size": "L"}
TWO, LARGE = line(sizes={"M": 2}), line(sizes={"L": 2})
MORE_MIN, FEW_MIN = 70, 65
"""Minutes of the press, in an older catalogue and now: too few for all that is quoted."""

ONLY_READ = ("quote", "artwork", "catalogue_version", "api_key")
"""Tables of long documents that accepting reads; all others are looked at."""

OLDER_PLANS = {
    "of a plan without what it holds": ("held",),
    "of a plan without its promise": ("held", "promise", "start"),
    "of a plan without needs": ("needs", "station", "method"),
}
"""What plans of earlier releases left out."""


class Wish(NamedTuple):
    """Which quote somebody accepts, and who does."""

    quote: str
    who: str


def _of_storefront(*names: str) -> list[Wish]:
    return [Wish(name, "storefront") for name in names]


@dataclass(frozen=True)
class Quoted:
    """A shop with quotes of every kind, none of which a test changes for the next one."""

    shop: ShopDoor
    quotes: dict[str, str]
    holders: dict[str, str]

    @property
    def services(self) -> Services:
        """The use cases' services."""
        return self.shop.assembly.services

    def asked(self, wishes: Sequence[Wish]) -> list[tuple[RequestKey, Acceptance]]:
        """What is asked, each under a key and with a trace of its own."""
        found = []
        for number, (name, who) in enumerate(wishes):
            caller = Caller(self.holders[who], in_shop=who == "owner")
            quote_id = self.quotes.get(name, "quote_nobody-has-this")
            request = OrderRequest(quote_id=quote_id, reference=f"R-{number}")
            key = RequestKey(caller.holder, f"key-of-a-request-{number}", quote_id)
            found.append((key, Acceptance(caller, request, f"{number:032x}")))
        return found

    def within(self, work: Callable[[Services, Session], T]) -> T:
        """Do something in a transaction that is undone, with identifiers that count from one."""

        def do(session: Session) -> T:
            within = cast("Database", _Within(session))
            services = replace(self.services, new_id=counting_ids(), database=within)
            raise _Undone(work(services, session))

        try:
            return self.services.database.write(do)
        except _Undone as undone:
            return cast("T", undone.result)


class _Undone(Exception):
    """Carries what came of a transaction that is undone."""

    def __init__(self, result: object) -> None:
        super().__init__("undone")
        self.result = result


class _Within:
    """Writes in a transaction that is open already."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def write(self, work: Callable[[Session], T]) -> T:
        return work(self._session)


def refusal(_: int, error: ServiceError) -> Outcome:
    """The answer to a refusal."""
    said = {"code": error.code, "detail": error.detail, **error.extra}
    return Outcome(409, json.dumps(said, default=str))


def accept(
    services: Services, asked: Sequence[tuple[RequestKey, Acceptance]]
) -> list[Outcome | ServiceError]:
    """Accept all of it in one call, each once under its key."""

    def work(session: Session, places: Sequence[int]) -> WorkedOn:
        told, rows = accept_quotes(services, session, [asked[place][1] for place in places])
        answers = [Outcome.of(201, one) if isinstance(one, OrderAnswer) else one for one in told]
        return WorkedOn(answers, rows)

    return do_each_once(services, [key for key, _ in asked], work, refusal)


def told_of(one: Outcome | ServiceError) -> tuple[int, Json]:
    """Status and document; of an error its name and words."""
    if isinstance(one, Outcome):
        return one.status, json.loads(one.body_json)
    return 0, {"code": one.code, "detail": one.detail, **one.extra}


def codes(told: Sequence[tuple[int, Json]]) -> list[str]:
    """In a word what each was told."""
    return [document.get("code", "accepted") for _, document in told]


def left_by(session: Session) -> dict[str, list[Json]]:
    """The rows of all that may be written; tickets by their numbers, as ids are the store's."""
    connection = session.connection()
    found = {}
    tickets = metadata.tables["ticket"].c
    number_of = {
        row.id: row.number for row in connection.execute(select(tickets.id, tickets.number))
    }
    for table in metadata.sorted_tables:
        if table.name in ONLY_READ:
            continue
        rows = [dict(row._mapping) for row in connection.execute(table.select())]
        for row in rows:
            row.pop("seq", None)
            if "ticket_id" in row:
                row["ticket_id"] = number_of.get(row["ticket_id"])
            if table.name == "ticket":
                del row["id"]
        found[table.name] = sorted(rows, key=repr)
    events = metadata.tables["event"].c
    in_order = connection.execute(select(events.id).order_by(events.seq)).scalars()
    found["order of events"] = [{"id": id_} for id_ in in_order]
    return found


@pytest.fixture(scope="module", params=STORES)
def quoted(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Quoted]:
    """A shop that has material and minutes for some of its quotes only."""
    folder = tmp_path_factory.mktemp(f"accepting-{request.param}")
    url = f"sqlite:///{folder / 'intake.sqlite3'}"
    if request.param == "postgresql":
        url = request.getfixturevalue("postgres_databases").fresh()
        migrate.upgrade(url)
    else:
        shutil.copyfile(request.getfixturevalue("migrated_sqlite_file"), folder / "intake.sqlite3")
    clock = FakeClock()
    with opened_shop(folder, url, clock, counting_ids()) as shop:
        yield Quoted(shop, quotes_of(shop, clock), holders_of(shop))


def holders_of(shop: ShopDoor) -> dict[str, str]:
    """Who accepts, by the names of this file."""
    return {
        "storefront": shop.storefront.holder,
        "other": shop.other.holder,
        "owner": shop.owner.holder,
    }


def quotes_of(shop: ShopDoor, clock: FakeClock) -> dict[str, str]:
    """Quotes of every kind, by name; each that may be accepted was given the shelf as it is."""
    for thing, quantity in ((TEE, 200), (LARGE_TEE, 12), (FILM, 90_000), (INK, 5_000)):
        booked(shop.staff, "receive", quantity, thing)
    found: dict[str, str] = {}

    def ask(name: str, *lines: Json, **more: Any) -> Json:
        body = {"lines": list(lines) or [TWO], **more}
        caller = shop.other if name == "of another" else shop.storefront
        answer = answered(caller.post("/v1/quotes", body), 201)
        found[name] = answer["id"]
        return answer

    install_press(shop, MORE_MIN)
    ask("held by an older catalogue", LARGE, hold_min=30)
    install_press(shop, FEW_MIN)
    ask("held no more", hold_min=5)
    clock.advance(minutes=6)
    artwork = answered(shop.other.upload(picture()), 201)["id"]
    ask("of another", line(decoration(artwork_id=artwork, width_mm=60), sizes={"M": 1}))
    for name in ("plain", "second", "third", "fourth", "expired", "poisoned"):
        ask(name)
    for name in ("large", "larger"):
        ask(name, LARGE)
    ask("of two lines", LARGE, TWO)
    for name in ("of a plan without its promise", "of a plan without needs"):
        ask(name)
    found["accepted before"] = shop.storefront.order(line(sizes={"L": 1}))["quote_id"]
    ask("held", hold_min=30)
    ask("held large", LARGE, hold_min=30)
    ask("of a plan without what it holds", hold_min=30)
    # Few pieces leave as soon without rush.
    pieces = itertools.count(8)
    while not ask("rushed", line(sizes={"M": next(pieces)}), rush=True)["promise"]["rush_days"]:
        assert len(shop.rows(Quote)) < 60

    shop.assembly.database.write(lambda session: make_older(session, found, clock()))
    return found


def make_older(session: Session, found: Mapping[str, str], now: datetime) -> None:
    """Let quotes be what no fresh one is: over, of an earlier release, or past reading."""
    session.get_one(Quote, found["expired"]).expires_at = now
    session.get_one(Quote, found["poisoned"]).plan_json = '{"tickets": [{}]}'
    for name, left_out in OLDER_PLANS.items():
        quote = session.get_one(Quote, found[name])
        plan = json.loads(quote.plan_json)
        for ticket in plan["tickets"]:
            # Documents were in plans then, and are written with the order; so this one is another.
            kept = session.get_one(KeptDocument, ticket.pop("document"))
            ticket["document_json"] = f"{kept.document_json} "
        for part in (plan, *plan["tickets"]):
            for key in left_out:
                part.pop(key, None)
        quote.plan_json = json.dumps(plan)


WISHES = st.lists(
    st.builds(
        Wish,
        quote=st.sampled_from(
            [
                "plain",
                "second",
                "third",
                "large",
                "larger",
                "held",
                "held no more",
                "held by an older catalogue",
                "held large",
                "of two lines",
                "rushed",
                "of another",
                "expired",
                "accepted before",
                "unknown",
                *OLDER_PLANS,
            ]
        ),
        who=st.sampled_from(["storefront", "storefront", "storefront", "other", "owner"]),
    ),
    min_size=2,
    max_size=12,
)


@settings(max_examples=10)
@given(wishes=WISHES)
@example(wishes=_of_storefront("held by an older catalogue", "plain", "second", "third", "fourth"))
@example(wishes=_of_storefront("held by an older catalogue", "large", "larger", "plain"))
@example(wishes=[*_of_storefront("rushed", "rushed", "plain"), Wish("of another", "other")])
@example(wishes=_of_storefront("of a plan without what it holds", "plain", "held", "held large"))
def test_together_is_as_one_after_another(quoted: Quoted, wishes: list[Wish]) -> None:
    """Each is told the same, and the same rows are left, whatever is asked for in which order."""
    asked = quoted.asked(wishes)

    def at_once(services: Services, session: Session) -> object:
        told = accept(services, asked)
        return [told_of(one) for one in told], left_by(session)

    def one_by_one(services: Services, session: Session) -> object:
        told = [one for single in asked for one in accept(services, [single])]
        return [told_of(one) for one in told], left_by(session)

    assert quoted.within(at_once) == quoted.within(one_by_one)


def told_to(quoted: Quoted, names: Sequence[str]) -> list[str]:
    """In a word what the storefront is told of each, accepted together."""
    asked = quoted.asked(_of_storefront(*names))
    return codes([told_of(one) for one in quoted.within(lambda at, _: accept(at, asked))])


@pytest.mark.parametrize(
    "names",
    [("plain", "second", "third", "fourth"), ("large", "larger")],
    ids=["minutes", "material"],
)
def test_what_is_there_for_some_goes_to_those_who_came_first(
    quoted: Quoted, names: Sequence[str]
) -> None:
    """The rest is told that its promise slipped, though each of them could be had alone."""
    told = told_to(quoted, names)
    had = told.count("accepted")
    assert 0 < had < len(names)
    assert told == ["accepted"] * had + ["promise-slipped"] * (len(names) - had)
    assert told_to(quoted, names[-1:]) == ["accepted"]


def test_what_a_quote_holds_is_left_to_it(quoted: Quoted) -> None:
    """Those before take what is free about it; it is had when they can get no more."""
    names = ("large", "larger", "held large")
    assert told_to(quoted, names) == ["accepted", "promise-slipped", "accepted"]


@pytest.mark.parametrize("names", [("plain", "second", "third", "fourth"), ("large", "larger")])
def test_one_that_is_refused_takes_and_gives_nothing(quoted: Quoted, names: Sequence[str]) -> None:
    """Minutes and material that it holds stay held, so those behind are told as without it."""
    told = told_to(quoted, ["held by an older catalogue", *names])
    assert told == ["promise-slipped", *told_to(quoted, names)]


EVERYTHING = {
    Wish("of a plan without what it holds", "storefront"): "accepted",
    Wish("held", "storefront"): "accepted",
    Wish("of another", "other"): "accepted",
    Wish("plain", "storefront"): "accepted",
    Wish("plain", "owner"): "quote-already-accepted",
    Wish("unknown", "storefront"): "quote-not-found",
    Wish("second", "other"): "quote-not-found",
    Wish("expired", "storefront"): "quote-expired",
    Wish("accepted before", "storefront"): "quote-already-accepted",
    Wish("held by an older catalogue", "storefront"): "promise-slipped",
}


def test_what_each_of_a_mixture_is_told(quoted: Quoted) -> None:
    """What is refused leaves its answer and no other row, and goes on holding what it held."""
    asked = quoted.asked(list(EVERYTHING))

    def do(services: Services, session: Session) -> Any:
        before = left_by(session)
        return [told_of(one) for one in accept(services, asked)], before, left_by(session)

    told, before, after = quoted.within(do)
    assert codes(told) == list(EVERYTHING.values())
    orders = [document["id"] for status, document in told if status == 201]
    assert told[4][1]["order_id"] == orders[3]
    new = {name: [row for row in rows if row not in before[name]] for name, rows in after.items()}
    assert {row["id"] for row in new["customer_order"]} == set(orders)
    assert {row["order_id"] for row in new["order_promise"]} == set(orders)
    traces = {row["order_id"]: row["trace_id"] for row in new["event"]}
    assert traces == {orders[place]: f"{place:032x}" for place in range(4)}
    numbers = {row["number"] for row in new["ticket"]}
    assert [one["tickets"][0]["number"] for _, one in told[:4]] == sorted(numbers)
    assert {row["ticket_id"] for row in new["booking"]} == numbers
    answers = {row["key"]: row["status"] for row in new["stored_answer"]}
    assert answers == {
        key.key: status for (key, _), (status, _) in zip(asked, told, strict=True) if status
    }
    for name in ("capacity_hold", "stock_hold"):
        assert not new[name]
        ended = {row["quote_id"] for row in before[name] if row not in after[name]}
        assert ended == {quoted.quotes[one] for one in ("held", "of a plan without what it holds")}
        assert quoted.quotes["held by an older catalogue"] in {
            row["quote_id"] for row in after[name]
        }


def test_what_is_kept_under_keys(quoted: Quoted) -> None:
    """Orders and refusals are given again, an unknown name is not, and each key is one request's.

    What is told of one key changes nothing for the others of that turn.
    """
    names = ("plain", "expired", "unknown", "second", "held")
    plain, expired, unknown, second, held = quoted.asked(_of_storefront(*names))
    another = replace(plain[0], fingerprint="another"), plain[1]

    def do(services: Services, _: Session) -> None:
        first = accept(services, [plain, expired, unknown])
        assert codes([told_of(one) for one in first]) == [
            "accepted",
            "quote-expired",
            "quote-not-found",
        ]
        again = accept(services, [plain, expired, unknown])
        for kept, one in zip(first[:2], again, strict=False):
            assert isinstance(kept, Outcome)
            assert one == replace(kept, replayed=True)
        assert isinstance(again[2], NotFound)
        reused, fresh = accept(services, [another, second])
        assert isinstance(reused, BadInput)
        assert reused.code == "idempotency-key-reused"
        assert told_of(fresh)[0] == 201
        (corrected,) = accept(services, [(unknown[0], held[1])])
        assert told_of(corrected)[0] == 201

    quoted.within(do)


def test_a_key_is_new_after_its_time(quoted: Quoted) -> None:
    """Up to the end of its time it replays; then it stands for whatever comes with it."""
    plain, held = quoted.asked(_of_storefront("plain", "held"))
    placed = quoted.services.clock()
    later = plain[0], held[1]

    def at(services: Services, after: timedelta) -> Services:
        return replace(services, clock=lambda: placed + after)

    def do(services: Services, session: Session) -> None:
        (first,) = accept(services, [plain])
        (still,) = accept(at(services, KEPT_FOR - timedelta(milliseconds=1)), [plain])
        assert isinstance(first, Outcome)
        assert still == replace(first, replayed=True)
        anew = at(services, KEPT_FOR)
        (new,) = accept(anew, [later])
        assert codes([told_of(new)]) == ["quote-expired"]
        assert accept(anew, [later]) == [replace(cast("Outcome", new), replayed=True)]
        kept = [row for row in left_by(session)["stored_answer"] if row["key"] == plain[0].key]
        assert [row["expires_at"] for row in kept] == [placed + 2 * KEPT_FOR]

    quoted.within(do)


def test_one_that_nobody_foresaw_leaves_nothing_of_its_turn(quoted: Quoted) -> None:
    """Where a plan cannot be read nothing of those beside it is written either."""
    names = ("plain", "expired", "poisoned", "second")
    asked = quoted.asked(_of_storefront(*names))
    before = quoted.shop.row_counts()
    with pytest.raises(KeyError):
        accept(quoted.services, asked)
    assert quoted.shop.row_counts() == before


def test_one_that_nobody_foresaw_fails_alone(quoted: Quoted) -> None:
    """Through the application those who accept at the same moment are served all the same."""
    storefront = quoted.shop.storefront
    quotes = [storefront.quote(line(sizes={"M": 1}))["id"] for _ in range(3)]
    quotes.insert(1, quoted.quotes["poisoned"])
    answers = together([partial(storefront.accept, id_, f"key-of-{id_}") for id_ in quotes])
    assert [answer.status_code for answer in answers] == [201, 500, 201, 201]
    kept = {row.key for row in quoted.shop.rows(StoredAnswer)}
    assert f"key-of-{quotes[1]}" not in kept
    for answer in answers:
        if answer.status_code == 201:
            order = answer.json()["id"]
            assert quoted.shop.events(order) == [(1, "order.accepted")]
            answered(storefront.post(f"/v1/orders/{order}/cancel"), 200)
