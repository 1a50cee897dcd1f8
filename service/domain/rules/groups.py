"""Rules put together that depend on the same choices, so that they are run on the same facts."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass

from service.domain.chain import Chain
from service.domain.garments import Garment
from service.domain.rules.contract import Rule
from service.domain.shop import Policy
from service.domain.wishes import Choice

OfColour = Callable[[Garment, Policy], Hashable]
"""What of a garment's colour a rule's refusals depend on: ``Rule.of_colour``."""


@dataclass(frozen=True, slots=True, eq=False)
class RuleGroup:
    """Rules that depend on the same choices on one chain, and on the same of a garment's colour.

    ``key`` names the rules, and the method unless none of them reads it on any chain.
    """

    key: tuple[object, ...]
    reads: frozenset[Choice]
    of_colour: OfColour | None
    rules: tuple[Rule, ...]


def group_rules(rules: Iterable[Rule], chain: Chain) -> tuple[RuleGroup, ...]:
    """The rules by what they read on this chain."""
    alike: dict[tuple[frozenset[Choice], OfColour | None], list[Rule]] = {}
    for rule in rules:
        reads = rule.reads_for(chain)
        of_colour = rule.of_colour if Choice.COLOUR in reads else None
        alike.setdefault((reads, of_colour), []).append(rule)
    return tuple(
        RuleGroup(_key(chain, together), *read, tuple(together)) for read, together in alike.items()
    )


def _key(chain: Chain, rules: Iterable[Rule]) -> tuple[object, ...]:
    by_method = any(Choice.METHOD in rule.reads for rule in rules)
    return chain.method.id if by_method else None, tuple(rule.id for rule in rules)
