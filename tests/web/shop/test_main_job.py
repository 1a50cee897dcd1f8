"""probe"""
from __future__ import annotations
from tests.web.shop.door import *
def test_probe(shop, storefront, staff):
    r = storefront.post("/v1/checks", {"lines":[line(decoration(method="dye-transfer"))]})
    print(r.status_code)
    q = storefront.quote(line()); print(q)
    o = storefront.order(line()); print(o)
    print(shop.events(o["id"]), shop.booked_s())
    n=o["tickets"][0]["number"]
    print(staff.get(f"/v1/tickets/{n}").json())
    print(shop.row_counts())
    print(storefront.post(f"/v1/orders/{o['id']}/cancel").json(), shop.events(o["id"]), shop.booked_s())
