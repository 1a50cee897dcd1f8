"""How the shop turns cost into price: shares, quantity breaks, rush, offers and taxes."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Protocol, Self, TypeVar

from pydantic import Field, StringConstraints, field_validator, model_validator

from service.domain.values import Frozen, Money, Slug, Words

PartOff = Annotated[Decimal, Field(ge=0, lt=1, max_digits=8, decimal_places=6)]
"""A share of a price, such as one taken off it: from nothing to less than all of it."""


class QuantityBreak(Frozen):
    """From this many pieces on, this share is taken off the price."""

    from_pieces: Annotated[int, Field(ge=1, le=1_000_000)]
    discount_share: PartOff


class RushTerms(Frozen):
    """What being sooner costs: ``share_per_day`` of the price for each working day gained.

    ``most_days`` is how many can be gained at most.
    """

    share_per_day: Annotated[Decimal, Field(ge=0, le=2, max_digits=8, decimal_places=6)]
    most_days: Annotated[int, Field(ge=1, le=60)]


class Offer(Frozen):
    """A discount a storefront may name, such as one for clubs; ``share`` is taken off the price."""

    id: Slug
    name: Words
    share: PartOff


class TaxRegion(Frozen):
    """A tax where a customer is. What is owed where is for the shop and its adviser to know.

    Where ``inclusive``, prices are told with the tax in them; else it is added to the total.
    """

    id: Slug
    name: Words
    rate: Annotated[Decimal, Field(ge=0, le=1, max_digits=8, decimal_places=6)]
    inclusive: bool


class StartsBy(StrEnum):
    """What decides how many pieces are started."""

    PROBABILITY = "probability"
    REDO_COST = "redo_cost"


class _Named(Protocol):
    @property
    def id(self) -> str: ...


_Kind = TypeVar("_Kind", bound=_Named)


class PriceBook(Frozen):
    """How cost becomes price. ``currency`` is an ISO 4217 code.

    ``overhead_share`` is added to cost, and ``margin_share`` is the share of the price that is
    margin. Of a method nothing is known of, ``spoilage_share`` of the pieces are expected to be
    spoiled; that counts as if it had been seen on ``spoilage_prior_pieces`` pieces. By
    ``starts_by`` so many are started that enough come out good with ``spoilage_probability``, or so
    many that they cost least with the further runs that a shortfall takes. ``redo_extra_cost`` is
    what each such run costs beyond its set-up, such as the delay or a faster way of sending.

    ``may_sell_below_cost`` lets discounts take a price below cost. ``more_may_cost_less`` leaves
    it at that where a larger quantity costs less in total, and says so.
    """

    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
    overhead_share: Annotated[Decimal, Field(ge=0, le=5, max_digits=8, decimal_places=6)]
    margin_share: PartOff
    spoilage_share: Annotated[
        Decimal, Field(ge=0, lt=Decimal("0.5"), max_digits=8, decimal_places=6)
    ]
    spoilage_prior_pieces: Annotated[int, Field(ge=20, le=100_000)] = 200
    spoilage_probability: Annotated[Decimal, Field(ge=Decimal("0.5"), le=Decimal("0.999"))] = (
        Decimal("0.95")
    )
    starts_by: StartsBy = StartsBy.PROBABILITY
    redo_extra_cost: Money = Decimal(0)
    consumables_per_piece: Money
    artwork_check_min: Annotated[Decimal, Field(ge=0, le=600)]
    breaks: Annotated[tuple[QuantityBreak, ...], Field(min_length=1, max_length=40)]
    rush: RushTerms | None = None
    offers: Annotated[tuple[Offer, ...], Field(max_length=100)] = ()
    tax_regions: Annotated[tuple[TaxRegion, ...], Field(max_length=400)] = ()
    may_sell_below_cost: bool = False
    more_may_cost_less: bool = False

    @field_validator("breaks", mode="after")
    @classmethod
    def _breaks_rise(cls, breaks: tuple[QuantityBreak, ...]) -> tuple[QuantityBreak, ...]:
        if breaks[0].from_pieces != 1:
            raise ValueError("the first quantity break must start from 1 piece")
        for lower, upper in itertools.pairwise(breaks):
            if upper.from_pieces <= lower.from_pieces:
                raise ValueError(
                    f"quantity breaks overlap: {upper.from_pieces} follows {lower.from_pieces}"
                )
            if upper.discount_share < lower.discount_share:
                raise ValueError(
                    f"discount falls from {lower.discount_share} to {upper.discount_share} "
                    f"at {upper.from_pieces} pieces"
                )
        return breaks

    @model_validator(mode="after")
    def _names_once(self) -> Self:
        for what, named in (("offer", self.offers), ("tax region", self.tax_regions)):
            twice = _first_twice(named)
            if twice is not None:
                raise ValueError(f"{what} '{twice}' stands twice")
        return self

    def break_reached(self, pieces: int) -> QuantityBreak:
        """The highest quantity break that ``pieces`` reach; the first starts from one piece."""
        return max(
            (step for step in self.breaks if step.from_pieces <= pieces),
            key=lambda step: step.from_pieces,
        )

    def offer(self, offer_id: str) -> Offer:
        """The offer of that id; KeyError for one the book has not."""
        return _by_id(self.offers, offer_id)

    def tax_region(self, region_id: str) -> TaxRegion:
        """The tax region of that id; KeyError for one the book has not."""
        return _by_id(self.tax_regions, region_id)


def _first_twice(named: Sequence[_Named]) -> str | None:
    seen: set[str] = set()
    for one in named:
        if one.id in seen:
            return one.id
        seen.add(one.id)
    return None


def _by_id(named: Sequence[_Kind], wanted: str) -> _Kind:
    for one in named:
        if one.id == wanted:
            return one
    raise KeyError(wanted)
