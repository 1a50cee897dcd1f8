"""Lines judged and priced: what a quote, a price curve and an audit have in common."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from service.domain.artwork import ArtworkMeasures
from service.domain.canonical import canonical_json
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput, FieldFault
from service.domain.memo import Same
from service.domain.money import MOST_MINOR, TooMuchMoney
from service.domain.pricing import OrderPrice, PriceTerms, price_order
from service.domain.rules import Severity
from service.domain.spoilage import SpoilageSeen
from service.domain.wishes import Line
from service.domain.work import OutlineUnknown
from service.intake.answers import CheckAnswer
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.artworks import artworks_at_hand, artworks_of
from service.intake.check import LineVerdict, all_work, check_answer, judge_lines
from service.intake.names import unknown_name
from service.intake.requests import LineRequest, PriceCurveRequest, QuoteRequest
from service.intake.resolve import Path, artwork_ids, resolve_lines
from service.intake.services import Caller, Services


@dataclass(frozen=True, slots=True)
class PriceInputs:
    """What a price is reckoned from besides what was asked for.

    ``artworks`` holds those that exist and are the caller's; ``seen`` is the spoilage by method.
    """

    compiled: CompiledCatalogue
    artworks: Mapping[str, ShelvedArtwork]
    seen: Mapping[str, SpoilageSeen]

    def as_json(self) -> str:
        """Artworks and spoilage as text, from which :meth:`from_json` makes the same inputs."""
        return canonical_json(
            {
                "artworks": {
                    artwork_id: {
                        "holder": artwork.holder,
                        "rights_declared": artwork.rights_declared,
                        "measures": _plain(Same(artwork.measures)),
                    }
                    for artwork_id, artwork in self.artworks.items()
                },
                "spoilage": {
                    method: {"spoiled": seen.spoiled, "made": seen.made}
                    for method, seen in self.seen.items()
                },
            }
        )

    @classmethod
    def from_json(cls, compiled: CompiledCatalogue, text: str) -> PriceInputs | None:
        """The inputs as they were kept; None for a quote from before they were."""
        kept: dict[str, Any] = json.loads(text)
        if not kept:
            return None
        return cls(
            compiled=compiled,
            artworks={
                artwork_id: ShelvedArtwork(
                    one["holder"],
                    ArtworkMeasures.model_validate_json(json.dumps(one["measures"])),
                    one["rights_declared"],
                )
                for artwork_id, one in kept["artworks"].items()
            },
            seen={method: SpoilageSeen(**one) for method, one in kept["spoilage"].items()},
        )


@lru_cache(maxsize=1_024)
def _plain(measures: Same[ArtworkMeasures]) -> Mapping[str, Any]:
    """Measures as JSON has them; the same artworks are asked for again and again."""
    return measures.it.model_dump(mode="json")


@dataclass(frozen=True, slots=True)
class PricedLines:
    """Lines with their verdicts and prices, before a day is promised."""

    lines: tuple[Line, ...]
    verdicts: tuple[LineVerdict, ...]
    terms: PriceTerms
    price: OrderPrice


def price_lines(inputs: PriceInputs, request: QuoteRequest, *, rush_days: int = 0) -> PricedLines:
    """Resolve, judge and price, with so many days gained by rush. Computes only.

    Raises ``BadInput`` for unknown names, for an artwork whose outline the price needs and nobody
    measured and for more money than can be told, and ``cannot-be-made`` carrying the whole check
    where a decoration has no working method.
    """
    terms = replace(price_terms(inputs.compiled, request), rush_days=rush_days)
    lines, verdicts = decided_lines(inputs, request.lines)
    try:
        return _priced(inputs, lines, verdicts, terms)
    except OutlineUnknown as unknown:
        raise outline_unknown(unknown, request.lines) from unknown


def with_rush(inputs: PriceInputs, priced: PricedLines, days: int) -> PricedLines:
    """The same lines with so many days gained by rush; ``BadInput`` for too much money."""
    terms = replace(priced.terms, rush_days=days)
    return _priced(inputs, priced.lines, priced.verdicts, terms)


def _priced(
    inputs: PriceInputs,
    lines: tuple[Line, ...],
    verdicts: tuple[LineVerdict, ...],
    terms: PriceTerms,
) -> PricedLines:
    try:
        price = price_order(inputs.compiled.catalogue, lines, terms, inputs.seen)
    except TooMuchMoney as much:
        raise too_much_money(("lines",)) from much
    return PricedLines(lines, verdicts, terms, price)


def quote_request(text: bytes) -> QuoteRequest:
    """A quote's request from JSON text; ``BadInput`` naming every field that is wrong."""
    try:
        request = QuoteRequest.model_validate_json(text)
    except ValidationError as wrong:
        errors = wrong.errors(include_input=False, include_url=False)
        # A list whose entries are faulty is called too short besides.
        told = [one for one in errors if one["type"] != "too_short"] or errors
        faults = [FieldFault(one["msg"], one["loc"] or ("the file",)) for one in told]
        raise _no_request(faults) from wrong
    faults = [FieldFault("This name stands twice in its object.", (name,)) for name in _twice(text)]
    if faults:
        raise _no_request(faults)
    return request


def _no_request(faults: list[FieldFault]) -> BadInput:
    detail = "This is no request for a quote; POST /v1/quotes takes the same."
    return BadInput("fields-refused", detail, faults=faults)


def _twice(text: bytes) -> list[str]:
    """Names that stand twice in an object of the JSON text: which is meant cannot be known."""
    found: list[str] = []

    def keep(pairs: list[tuple[str, object]]) -> None:
        found.extend(
            name for name, count in Counter(name for name, _ in pairs).items() if count > 1
        )

    json.loads(text, object_pairs_hook=keep)
    return found


def price_inputs_at_hand(
    services: Services, caller: Caller, artwork_ids: Collection[str]
) -> PriceInputs | None:
    """What a price is reckoned from just now; None where some of it must be read from the store."""
    compiled = services.catalogues.current
    artworks = artworks_at_hand(services, caller, artwork_ids)
    seen = services.spoilage.at_hand(*_shop_day(services, compiled))
    return None if artworks is None or seen is None else PriceInputs(compiled, artworks, seen)


def price_inputs(services: Services, caller: Caller, artwork_ids: Collection[str]) -> PriceInputs:
    """What a price is reckoned from just now, read where it is not at hand."""
    compiled = services.catalogues.current
    artworks = artworks_of(services, caller, artwork_ids)
    day = _shop_day(services, compiled)
    seen = services.database.read(lambda session: services.spoilage.fetch(session, *day))
    return PriceInputs(compiled, artworks, seen)


def _shop_day(services: Services, compiled: CompiledCatalogue) -> tuple[date, str]:
    """The shop's present day, and its time zone."""
    zone = compiled.catalogue.calendar.time_zone
    return services.clock().astimezone(ZoneInfo(zone)).date(), zone


def price_for_staff(services: Services, request: QuoteRequest) -> PricedLines:
    """Price just now, with any storefront's artworks; errors as :func:`price_lines`.

    The faults of ``cannot-be-made`` say the reasons and the ways out, for a reader of plain text.
    """
    staff = Caller(holder="", in_shop=True)
    try:
        return price_lines(price_inputs(services, staff, asked_artworks(request)), request)
    except BadInput as refused:
        if refused.code != "cannot-be-made":
            raise
        check = CheckAnswer.model_validate(refused.extra["check"])
        detail = "At least one decoration cannot be made as asked, so there is no price."
        raise BadInput(refused.code, detail, faults=list(_reasons(check))) from refused


def _reasons(check: CheckAnswer) -> Iterator[FieldFault]:
    """What blocks each decoration that has no working method, and what would work instead."""
    for i, line in enumerate(check.lines):
        for j, decoration in enumerate(line.decorations):
            if decoration.works:
                continue
            path = ("lines", i, "decorations", j)
            reasons = dict.fromkeys(
                finding.reason
                for candidate in decoration.candidates
                for finding in candidate.findings
                if finding.severity == Severity.BLOCKS
            )
            ways = dict.fromkeys(one.because for one in decoration.alternatives)
            yield from (FieldFault(words, path) for words in (*reasons, *ways))


def price_terms(
    compiled: CompiledCatalogue, request: QuoteRequest | PriceCurveRequest
) -> PriceTerms:
    """Offer and tax region as asked for; ``BadInput`` for one the shop has not."""
    book = compiled.catalogue.prices
    faults = [
        FieldFault(
            unknown_name(what, name, [one.id for one in known]), (field,), code="unknown-name"
        )
        for field, what, name, known in (
            ("offer", "offer", request.offer, book.offers),
            ("tax_region", "tax region", request.tax_region, book.tax_regions),
        )
        if name is not None and name not in {one.id for one in known}
    ]
    if faults:
        detail = "Some fields name what this shop does not have."
        raise BadInput("fields-refused", detail, faults=faults)
    return PriceTerms(offer_id=request.offer, tax_region_id=request.tax_region)


def decided_lines(
    inputs: PriceInputs, requests: Sequence[LineRequest], path: Path | None = None
) -> tuple[tuple[Line, ...], tuple[LineVerdict, ...]]:
    """The lines with every method settled, and their verdicts; errors as :func:`price_lines`.

    ``path`` is where the one line stands in the request; None where several stand in ``lines``.
    """
    compiled = inputs.compiled
    lines = resolve_lines(compiled, requests, inputs.artworks, path)
    verdicts = judge_lines(compiled, lines)
    if not all_work(verdicts):
        check = check_answer(compiled, lines, verdicts)
        raise BadInput(
            "cannot-be-made",
            "At least one decoration cannot be made as asked, so there is no price. The member "
            "'check' says why and what would work instead.",
            extra={"check": check.model_dump(mode="json")},
        )
    decided = (_decided(*both) for both in zip(lines, verdicts, strict=True))
    return tuple(decided), verdicts


def outline_unknown(
    unknown: OutlineUnknown, requests: Sequence[LineRequest], path: Path | None = None
) -> BadInput:
    """Which decorations need an outline that was never measured; ``path`` as for the lines."""
    detail = (
        f"The price hangs on the outline of artwork '{unknown.artwork_id}', which was uploaded "
        "before outlines were measured. Upload the same file again, then ask again."
    )
    faults = [
        FieldFault(
            detail,
            (*(path or ("lines", i)), "decorations", j, "artwork_id"),
            code="artwork-without-outline",
        )
        for i, line in enumerate(requests)
        for j, decoration in enumerate(line.decorations)
        if decoration.artwork_id == unknown.artwork_id
    ]
    return BadInput("fields-refused", detail, faults=faults)


def too_much_money(path: Path) -> BadInput:
    """The total is larger than can be told; ``path`` is where fewer pieces would mend it."""
    detail = (
        f"The total would be more than {MOST_MINOR} minor units, which is the most that can be "
        "told exactly. Ask for fewer pieces; if few pieces cost so much, the shop's price book "
        "is to be looked at."
    )
    return BadInput(
        "fields-refused", detail, faults=[FieldFault(detail, path, code="too-much-money")]
    )


def asked_artworks(request: QuoteRequest | PriceCurveRequest) -> frozenset[str]:
    """The artworks a request speaks of."""
    return artwork_ids(request.lines if isinstance(request, QuoteRequest) else [request.line])


def _decided(line: Line, verdicts: LineVerdict) -> Line:
    """The line with each decoration's method settled to the chosen one."""
    decorations = tuple(
        replace(verdict.decoration, method_id=verdict.chosen.method_id)
        for verdict in verdicts
        if verdict.chosen is not None
    )
    return replace(line, decorations=decorations)
