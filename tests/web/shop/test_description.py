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
from httpx2 import Response
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode
from schemathesis.checks import CHECKS
from schemathesis.specs.openapi.schemas import OpenApiSchema

from tests.web.shop.door import ON_ONE_STORE, Caller, ShopDoor, answered, decoration, line
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
    max_examples=8,
    phases=[Phase.generate],
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
    box = document["components"]["schemas"]["ArtworkAnswer"]["properties"]["ink_box_px"]
    box["items"] = box.pop("prefixItems")[0]  # the library takes a list of items for a fault
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


@ON_ONE_STORE
@pytest.mark.parametrize("operation", ACCESS)
def test_every_answer_is_described(
    standing_shop: ShopDoor,
    description: OpenApiSchema,
    known_ids: Mapping[str, str],
    operation: str,
) -> None:
    """No request, good or bad, is answered by a 500 or by anything the description leaves out."""
    method, path = operation.split(" ")
    described = description[path][method]
    cases = [described.as_strategy(generation_mode=mode) for mode in GenerationMode]
    named = [name for name in re.findall(r"\{(\w+)\}", path) if name in known_ids]
    callers = [standing_shop.storefront, standing_shop.staff]

    @FUZZ
    @given(data=st.data())
    def answers_as_described(data: st.DataObject) -> None:
        case: Case[Any] = data.draw(st.one_of(cases))
        for name in named:
            if data.draw(st.booleans()):
                case.path_parameters[name] = known_ids[name]
        response = _sent(data.draw(st.sampled_from(callers)), case)
        case.validate_response(response, checks=COMPARED)

    answers_as_described()


def _sent(caller: Caller, case: Case[Any]) -> Response:
    """Send the case, whose body may be bytes, a document, or parts of a form."""
    sent = case.as_transport_kwargs(headers={"Authorization": f"Bearer {caller.key}"})
    if isinstance(sent.get("data"), bytes | str):
        sent["content"] = sent.pop("data")
    if isinstance(sent.get("files"), list):
        sent["files"] = [(name, _part(part)) for name, part in sent["files"]]
    response = caller.client.request(**{k: v for k, v in sent.items() if v and k in TAKEN})
    response.request.read()
    return response


def _part(part: Any) -> Any:
    """A part of a form as bytes or text; the library makes numbers of fields as well."""
    if not isinstance(part, tuple):
        return part if isinstance(part, bytes | str) else str(part)
    return (part[0], _part(part[1]), *part[2:])
