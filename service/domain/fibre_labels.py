"""Whether a fibre label, as it is worded, follows the rules of the European Union or the US.

Sources: Regulation (EU) No 1007/2011, Articles 5, 7, 9 and 20(3) and Annex I; 15 USC 70b(b) and
16 CFR 303.3, 303.7, 303.10, 303.16 and 303.43. A label without faults here is not thereby lawful:
products out of scope, tolerated omissions and local rules are not judged. Wool under 5 % is
treated as any other fibre.
"""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from service.domain.fibres import (
    DECIMAL_SLACK_PERCENT,
    EU_LABEL_NAMES,
    US_LABEL_NAMES,
    Fibre,
    FibreContent,
    fibre_named,
    plain_name,
)
from service.domain.shop import LabelRegime

DESIGN_CHOICE = "design choice, no source"

ONE_OTHER_MAX_PERCENT = Decimal(5)
SEVERAL_OTHERS_MAX_PERCENT = Decimal(15)
"""Most that "other fibres" may stand for in the EU: one fibre, several together (Art. 9(2))."""

US_NAMED_FROM_PERCENT = Decimal(5)
"""US: a fibre below this is "other fiber" unless it has a function (16 CFR 303.3)."""

STATED_TOLERANCE_POINTS = Decimal(3)
"""Between stated and analysed percentages (Art. 20(3); 16 CFR 303.43)."""

SUM_TOLERANCE_POINTS = DECIMAL_SLACK_PERCENT
"""Rounding allowed in the sum of percentages with decimals; a design choice, no source."""

PURE_FOREIGN_MAX_PERCENT = Decimal(2)
PURE_CARDED_FOREIGN_MAX_PERCENT = Decimal(5)
"""Unavoidable foreign fibre in a product labelled as one fibre; carded products (Art. 7)."""

_ALONE_WORDS = ("pure ", "all ")
_LONGEST_ECHO = 40
_NEAR = 0.83


STATE_ONCE = "State each fibre once."
NAME_IT = "Name the fibre and its percentage."


@dataclass(frozen=True, slots=True)
class LabelFault:
    """One thing wrong with a label.

    ``index`` is the entry's place in the label, None where it is the label as a whole. ``article``
    is the rule broken. ``suggestion`` is the wording that would do, None where there is none;
    ``advice`` is what to do where no wording is known.
    """

    index: int | None
    article: str
    message: str
    suggestion: str | None = None
    advice: str = ""

    @property
    def way_out(self) -> str:
        """What to do, as a sentence; empty where nothing is known."""
        if self.suggestion:
            return f"Write '{self.suggestion}'."
        return self.advice


@dataclass(frozen=True, slots=True)
class _Regime:
    """The names and articles one regime's faults are written with."""

    title: str
    names: Mapping[Fibre, tuple[str, ...]]
    foreign_names: Mapping[Fibre, tuple[str, ...]]
    names_article: str
    alone_article: str
    order_article: str
    last_article: str


_EU = "Regulation (EU) No 1007/2011"
_REGIMES = {
    LabelRegime.EU: _Regime(
        title="EU",
        names=EU_LABEL_NAMES,
        foreign_names=US_LABEL_NAMES,
        names_article=f"{_EU}, Article 5 and Annex I",
        alone_article=f"{_EU}, Article 7",
        order_article=f"{_EU}, Article 9(1)",
        last_article=DESIGN_CHOICE,
    ),
    LabelRegime.US: _Regime(
        title="US",
        names=US_LABEL_NAMES,
        foreign_names=EU_LABEL_NAMES,
        names_article="16 CFR 303.7",
        alone_article=DESIGN_CHOICE,
        order_article="15 USC 70b(b); 16 CFR 303.16",
        last_article="16 CFR 303.10",
    ),
}


@dataclass(frozen=True, slots=True)
class _Entry:
    """One line of the label: ``name`` as written, less "pure" or "all"; ``fibre`` if known."""

    index: int
    name: str
    says_alone: bool
    percent: Decimal
    fibre: Fibre | None

    @property
    def is_other(self) -> bool:
        return self.fibre is Fibre.OTHER

    def words(self) -> str:
        return f"{_number(self.percent)} % {self.name}"


def label_faults(
    entries: Sequence[tuple[str, Decimal]],
    regime: LabelRegime,
    *,
    functional: Collection[str] = (),
    several_others: bool = False,
) -> tuple[LabelFault, ...]:
    """All faults of a label given as (fibre name, percentage by mass) in its stated order.

    ``functional`` names fibres that have a definite functional significance, which the US lets a
    label name below 5 %. ``several_others`` says that "other fibres" stands for more than one
    fibre; otherwise it is judged as one.
    """
    rules = _REGIMES[regime]
    label = [_entry(index, name, percent) for index, (name, percent) in enumerate(entries)]
    if not label:
        return (LabelFault(None, rules.order_article, "the label names no fibre"),)
    faults = [*_name_faults(label, rules), *_alone_faults(label, rules), *_twice(label, rules)]
    out_of_range = [*_percent_faults(label, rules)]
    if out_of_range:
        return (*faults, *out_of_range)
    faults += [*_sum_faults(label), *_order_faults(label, rules)]
    if regime is LabelRegime.EU:
        faults += _eu_other_faults(label, several=several_others)
    else:
        faults += _us_other_faults(label, rules, several=several_others)
        faults += _us_small_faults(label, {fibre_named(name) for name in functional})
    return tuple(faults)


def stated_matches_analysed(stated: FibreContent, analysed: FibreContent) -> bool:
    """Whether an analysis bears the stated content out.

    Each named fibre, and all that the label does not name taken together, may be 3 points off
    (Art. 20(3); 16 CFR 303.43). A label of one fibre is held to :func:`pure_label_holds`.
    """
    found = {share.fibre: share.percent for share in analysed.shares}
    label = {share.fibre: share.percent for share in stated.shares}
    unnamed_stated = label.pop(Fibre.OTHER, Decimal(0))
    unnamed_found = 100 - sum((found.get(fibre, Decimal(0)) for fibre in label), Decimal(0))
    if len(stated.shares) == 1:
        return pure_label_holds(unnamed_found)
    gaps = [abs(percent - found.get(fibre, Decimal(0))) for fibre, percent in label.items()]
    return max(*gaps, abs(unnamed_stated - unnamed_found)) <= STATED_TOLERANCE_POINTS


def pure_label_holds(foreign_percent: Decimal, *, carded: bool = False) -> bool:
    """Whether a product with that much unavoidable foreign fibre may be labelled as one fibre."""
    limit = PURE_CARDED_FOREIGN_MAX_PERCENT if carded else PURE_FOREIGN_MAX_PERCENT
    return foreign_percent <= limit


def _entry(index: int, written: str, percent: Decimal) -> _Entry:
    name = " ".join(written.split())[:_LONGEST_ECHO]
    alone = next((word for word in _ALONE_WORDS if name.lower().startswith(word)), "")
    name = name.removeprefix(name[: len(alone)])
    return _Entry(index, name, bool(alone), percent, fibre_named(name))


def _name_faults(label: list[_Entry], rules: _Regime) -> Iterator[LabelFault]:
    for entry in label:
        wanted = _wanted_name(entry.name, rules)
        if wanted == entry.name:
            continue
        if entry.fibre is not None:
            message = f"'{entry.name}' is not a name for {rules.title} labels; they say '{wanted}'"
        elif wanted is not None:
            message = f"'{entry.name}' is no generic fibre name known here; the closest: '{wanted}'"
        else:
            message = (
                f"'{entry.name}' is no generic fibre name known here; "
                "name the generic fibre that it is made of"
            )
        yield LabelFault(entry.index, rules.names_article, message, wanted)


def _wanted_name(name: str, rules: _Regime) -> str | None:
    """``name`` itself if the regime knows it, else what the regime would say, or None."""
    plain = plain_name(name)
    allowed = {plain_name(word): word for words in rules.names.values() for word in words}
    if plain in allowed:
        return name
    foreign = {plain_name(word) for words in rules.foreign_names.values() for word in words}
    near = difflib.get_close_matches(plain, [*allowed, *foreign], n=1, cutoff=_NEAR)
    if not near:
        return None
    if near[0] in allowed:
        return allowed[near[0]]
    meant = [
        rules.names[fibre][0]
        for fibre, words in rules.foreign_names.items()
        if near[0] in map(plain_name, words)
    ]
    return " or ".join(meant)


def _alone_faults(label: list[_Entry], rules: _Regime) -> Iterator[LabelFault]:
    for entry in label:
        if entry.says_alone and len(label) > 1:
            message = (
                f"'pure' and 'all' are for products of a single fibre; this one has {len(label)}"
            )
            yield LabelFault(entry.index, rules.alone_article, message, entry.name)


def _twice(label: list[_Entry], rules: _Regime) -> Iterator[LabelFault]:
    seen: dict[str, _Entry] = {}
    for entry in label:
        if entry.fibre is None:
            continue
        first = seen.setdefault(rules.names[entry.fibre][0], entry)
        if first is not entry:
            message = f"'{entry.name}' is the same fibre as '{first.name}', which stands before it"
            yield LabelFault(entry.index, DESIGN_CHOICE, message, advice=STATE_ONCE)


def _percent_faults(label: list[_Entry], rules: _Regime) -> Iterator[LabelFault]:
    for entry in label:
        if not (entry.percent.is_finite() and 0 < entry.percent <= 100):
            message = f"{entry.words()}: a percentage by mass is more than 0 and no more than 100"
            yield LabelFault(entry.index, rules.order_article, message)


def _sum_faults(label: list[_Entry]) -> Iterator[LabelFault]:
    total = sum((entry.percent for entry in label), Decimal(0))
    whole = all(entry.percent == entry.percent.to_integral_value() for entry in label)
    tolerance = Decimal(0) if whole else SUM_TOLERANCE_POINTS
    if abs(total - 100) > tolerance:
        limit = "100" if whole else f"100, give or take {SUM_TOLERANCE_POINTS}"
        message = f"the percentages sum to {_number(total)}, not to {limit}"
        yield LabelFault(None, DESIGN_CHOICE, message)


def _order_faults(label: list[_Entry], rules: _Regime) -> Iterator[LabelFault]:
    ordered = sorted(label, key=lambda entry: (entry.is_other, -entry.percent))
    wording = ", ".join(entry.words() for entry in ordered)
    named = [entry for entry in label if not entry.is_other]
    for before, after in itertools.pairwise(named):
        if after.percent > before.percent:
            message = f"{after.words()} stands after {before.words()}; the largest share goes first"
            yield LabelFault(after.index, rules.order_article, message, wording)
    for entry in label[:-1]:
        if entry.is_other and not label[-1].is_other:
            message = f"{entry.words()} stands before {label[-1].words()}; it goes last"
            yield LabelFault(entry.index, rules.last_article, message, wording)


def _eu_other_faults(label: list[_Entry], *, several: bool) -> Iterator[LabelFault]:
    limit = SEVERAL_OTHERS_MAX_PERCENT if several else ONE_OTHER_MAX_PERCENT
    for entry in label:
        if entry.is_other and entry.percent > limit:
            stands_for = "several fibres together" if several else "one fibre"
            message = (
                f"{entry.words()} for {stands_for}, of which {limit} % may go unnamed "
                f"(one fibre {ONE_OTHER_MAX_PERCENT} %, several {SEVERAL_OTHERS_MAX_PERCENT} %)"
            )
            article = f"{_EU}, Article 9(2)"
            yield LabelFault(entry.index, article, message, advice=NAME_IT)


def _us_other_faults(label: list[_Entry], rules: _Regime, *, several: bool) -> Iterator[LabelFault]:
    for entry in label:
        if entry.is_other and not several and entry.percent >= US_NAMED_FROM_PERCENT:
            message = (
                f"{entry.words()} for one fibre; from {US_NAMED_FROM_PERCENT} % on it is named"
            )
            yield LabelFault(entry.index, rules.order_article, message, advice=NAME_IT)


def _us_small_faults(label: list[_Entry], functional: set[Fibre | None]) -> Iterator[LabelFault]:
    small = [
        entry
        for entry in label
        if entry.percent < US_NAMED_FROM_PERCENT
        and not entry.is_other
        and (entry.fibre is None or entry.fibre not in functional)
    ]
    unnamed = [*small, *(entry for entry in label if entry.is_other)]
    total = _number(sum((entry.percent for entry in unnamed), Decimal(0)))
    suggestion = f"{total} % other {'fiber' if len(unnamed) == 1 else 'fibers'}"
    for entry in small:
        message = (
            f"{entry.words()}: below {US_NAMED_FROM_PERCENT} % a fibre is named only for a "
            "definite functional significance"
        )
        yield LabelFault(entry.index, "16 CFR 303.3", message, suggestion)


def _number(value: Decimal) -> str:
    """A percentage with up to six digits and no idle zeros."""
    text = f"{value:.6g}"
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text
