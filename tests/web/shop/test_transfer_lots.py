"""A shop that hands tickets on in lots promises by them and keeps them with the quote."""

from __future__ import annotations

import json

from service.store.tables import Booking, KeptDocument, Order, Quote
from tests.web.shop.conftest import changed_catalogue, demo_catalogue, put_in_force
from tests.web.shop.door import ON_SQLITE, Caller, ShopDoor, answered, line


@ON_SQLITE
def test_an_order_in_lots(shop: ShopDoor, storefront: Caller) -> None:
    """The same minutes are booked, no day later; a quote from before is accepted as a whole."""
    pieces = {"sizes": {"M": 60}}
    earlier = storefront.quote(line(**pieces))
    policy = demo_catalogue().catalogue.policy.model_copy(update={"transfer_pieces": 10})
    put_in_force(shop, changed_catalogue(policy=policy))
    quote = storefront.quote(line(**pieces))
    assert quote["promise"]["day"] <= earlier["promise"]["day"]
    kept = {row.id: json.loads(row.plan_json)["tickets"][0] for row in shop.rows(Quote)}
    documents = {row.sha256: json.loads(row.document_json) for row in shop.rows(KeptDocument)}
    starts = documents[kept[quote["id"]]["document"]]["pieces_to_start"]
    lots = {len(work): work[3:4] for work in kept[quote["id"]]["works"]}
    assert lots == {5: [-(-starts // 10)]}
    assert {len(work) for work in kept[earlier["id"]]["works"]} == {3}
    answered(storefront.accept(quote["id"], "key-of-one-in-lots"), 201)
    answered(storefront.accept(earlier["id"], "key-of-one-as-a-whole"), 201)
    seconds: dict[int, dict[str, int]] = {1: {}, 2: {}}
    for row in shop.rows(Booking):
        mine = seconds[row.ticket_id]
        mine[row.station] = mine.get(row.station, 0) + row.seconds
    assert seconds[1] == seconds[2]
    assert len(shop.rows(Order)) == 2
