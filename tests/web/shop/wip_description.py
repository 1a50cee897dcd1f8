"""The running application against its own OpenAPI description, with generated requests.

schemathesis (a library outside the project) makes requests from the description, good and bad ones,
and compares status, media type, headers and body of each answer with what is described.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode
from schemathesis.checks import CHECKS
from schemathesis.specs.openapi.schemas import OpenApiSchema

from tests.web.shop.door import ShopDoor, answered, decoration, line
from tests.web.shop.test_scopes import ACCESS

COMPARED: Any = CHECKS.get_by_names(
    [
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_headers_conformance",
        "response_schema_conformance",
    ]
)
TAKEN = {"method", "url", "content", "data", "files", "json", "params", "headers"}
FUZZ = settings(
    max_examples=6,
    suppress_health_check=[
        HealthCheck.function_scoped_fixture,
        HealthCheck.too_slow,
        HealthCheck.filter_too_much,
        HealthCheck.data_too_large,
    ],
)


@pytest.fixture(scope="session")
def description(standing_shop: ShopDoor) -> OpenApiSchema:
    """The description that the application gives of itself."""
    document = answered(standing_shop.nobody.get("/openapi.json"), 200)
    return schemathesis.openapi.from_dict(document)


@pytest.fixture(scope="session")
def known_ids(standing_shop: ShopDoor) -> Mapping[str, str]:
    """Ids that exist, by the name of their path parameter."""
    storefront = standing_shop.storefront
    order = storefront.order(line())
    endpoint = storefront.post("/v1/webhook-endpoints", {"url": "http://127.0.0.1:9/told"})
    return {
        "artwork_id": decoration()["artwork_id"],
        "quote_id": order["quote_id"],
        "order_id": order["id"],
        "number": order["tickets"][0]["number"],
        "endpoint_id": answered(endpoint, 201)["id"],
    }


@pytest.mark.parametrize("operation", ACCESS)
@pytest.mark.parametrize("scope", ["storefront", "staff"])
@pytest.mark.parametrize("mode", list(GenerationMode))
@FUZZ
@given(data=st.data())
def test_every_answer_is_described(
    standing_shop: ShopDoor,
    description: OpenApiSchema,
    known_ids: Mapping[str, str],
    operation: str,
    scope: str,
    mode: GenerationMode,
    data: Any,
) -> None:
    """No request, good or bad, is answered by a 500 or by anything the description leaves out."""
    method, path = operation.split(" ")
    case: Case[Any] = data.draw(description[path][method].as_strategy(generation_mode=mode))
    for name in re.findall(r"\{(\w+)\}", path):
        if name in known_ids and data.draw(st.booleans()):
            case.path_parameters[name] = known_ids[name]
    holder = standing_shop.storefront.holder if scope == "storefront" else "workroom"
    caller = standing_shop.caller(holder, scope)
    sent = case.as_transport_kwargs(headers={"Authorization": f"Bearer {caller.key}"})
    response = standing_shop.client.request(**{k: v for k, v in sent.items() if v and k in TAKEN})
    case.validate_response(response, checks=COMPARED)
