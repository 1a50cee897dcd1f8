"""Rules over HTTP: the list, one of them, and the pages that anyone may read."""

from __future__ import annotations

import base64
import hashlib
import re
from decimal import Decimal

from service.domain.rules import RULES
from tests.conftest import FakeClock
from tests.web.shop.conftest import changed_catalogue, demo_catalogue
from tests.web.shop.door import (
    ON_ONE_STORE,
    ON_SQLITE,
    PUBLIC_URL,
    Caller,
    Json,
    ShopDoor,
    answered,
    decoration,
    line,
    refused,
)

KNOWN = "dye-fibre-share"


def _threshold(rule: Json, name: str) -> Json:
    (found,) = (threshold for threshold in rule["policy"] if threshold["name"] == name)
    threshold: Json = found
    return threshold


@ON_ONE_STORE
def test_every_rule_is_listed(asking: Caller, bench: Caller) -> None:
    """All rules, in the order in which they run; each is shown alike on its own."""
    listed = answered(asking.get("/v1/rules"), 200)
    assert [rule["id"] for rule in listed["rules"]] == [rule.id for rule in RULES]
    assert listed["catalogue_version"] == demo_catalogue().version
    assert answered(bench.get("/v1/rules"), 200) == listed
    (known,) = (rule for rule in listed["rules"] if rule["id"] == KNOWN)
    assert answered(asking.get(f"/v1/rules/{KNOWN}"), 200) == known
    assert known["page"] == f"{PUBLIC_URL}/rules/{KNOWN}"
    assert "method" in known["reads"]


@ON_ONE_STORE
def test_an_unknown_rule(asking: Caller, standing_shop: ShopDoor) -> None:
    """A rule that does not exist is a 404 with a kind of its own, and its name is not repeated."""
    for answer in (
        asking.get("/v1/rules/<script>"),
        standing_shop.nobody.get("/rules/<script>"),
    ):
        refused(answer, 404, "rule-not-found")
        assert "script" not in answer.text
    refused(standing_shop.nobody.get("/rules/x%00"), 400, "text-refused")


@ON_ONE_STORE
def test_unchanged_rules_are_not_sent_twice(asking: Caller) -> None:
    """With the ETag of the last answer a GET is a 304 without a body (RFC 9110 section 15.4.5)."""
    for path in ("/v1/rules", f"/v1/rules/{KNOWN}"):
        tag = asking.get(path).headers["etag"]
        again = asking.get(path, {"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["etag"] == tag
        answered(asking.get(path, {"If-None-Match": '"other"'}), 200)


@ON_SQLITE
def test_thresholds_are_those_in_force(shop: ShopDoor, clock: FakeClock) -> None:
    """A new catalogue changes value and ETag, on the page too; bounds and defaults stay."""
    path = f"/v1/rules/{KNOWN}"
    before = shop.storefront.get(path)
    policy = demo_catalogue().catalogue.policy.model_copy(update={"dye_full_percent": Decimal(98)})
    shop.assembly.services.catalogues.install(changed_catalogue(policy=policy), clock())
    after = shop.storefront.get(path, {"If-None-Match": before.headers["etag"]})
    old, new = (_threshold(answered(one, 200), "dye_full_percent") for one in (before, after))
    assert (old["value"], new["value"]) == (95, 98)
    assert {**new, "value": 95} == old
    assert "<td>98</td>" in shop.nobody.get(f"/rules/{KNOWN}").text


@ON_ONE_STORE
def test_every_finding_has_a_page_open_to_all(standing_shop: ShopDoor) -> None:
    """What a check names as its rule is found at /rules without a key."""
    checked = answered(
        standing_shop.storefront.post(
            "/v1/checks?explain=all", {"lines": [line(decoration(method="dye-transfer"))]}
        ),
        200,
    )
    (judged,) = checked["lines"][0]["decorations"]
    named = {one["rule"] for one in judged["candidates"][0]["findings"]}
    assert KNOWN in named
    for rule_id in named:
        assert standing_shop.nobody.get(f"/rules/{rule_id}").status_code == 200


@ON_ONE_STORE
def test_pages_load_nothing(standing_shop: ShopDoor) -> None:
    """A page in a stated language; the policy admits its own style and nothing else."""
    for path in ("/rules", f"/rules/{KNOWN}"):
        answer = standing_shop.nobody.get(path)
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "text/html; charset=utf-8"
        assert '<html lang="en">' in answer.text
        [style] = re.findall("<style>(.*)</style>", answer.text)
        digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
        policy = answer.headers["content-security-policy"]
        assert policy.startswith(f"default-src 'none'; style-src 'sha256-{digest}'")
