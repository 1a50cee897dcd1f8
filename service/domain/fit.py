"""Width and sizes beside the table of choices: as asked, or as near to that as the rules leave.

Arrays end in the table's axes makings, garments and placements; before them stand sizes (as asked,
those that work), width (as asked, fitted) and consents.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from service.domain.choice_table import (
    EVERY_RULE,
    NOT_OFFERED,
    Bits,
    ChoiceTable,
    Flags,
    Floats,
    Given,
    WidthRange,
)
from service.domain.rules.geometry import SLACK_MM

_Fitted = tuple[Floats, Flags, Floats, Floats]
"""Fitted width, whether there is one, and the range it lies in."""

_TINY = 1e-9
_LEAST_MM = 1.0


class Fit:
    """What of a print width and of sizes can be kept, for every combination.

    ``blocked`` has the bits of the rules on width and sizes, (2, 2, 1, makings, garments,
    placements). A fitted width is a whole number of millimetres, the nearest to the one asked for,
    unless that itself will do. Sizes that work are those of the ones asked for; where none does,
    the nearest size of the garment that does, or with a fitted width the roomiest. Which sizes
    work may depend on the making, where that asks for a wide print.
    """

    def __init__(
        self,
        table: ChoiceTable,
        given: Given,
        width_mm: float | None,
        pieces_by_size: Mapping[str, int],
        garments: NDArray[np.intp] | None = None,
        makings: NDArray[np.intp] | None = None,
        rules: int = EVERY_RULE,
    ) -> None:
        """Gather the rules; each choice of both is worked out when it is first asked for.

        ``width_mm`` None asks for none: any width will do, and only the fitted one is worked out.
        ``garments`` and ``makings`` are the indexes to look at, in place of all; ``rules`` the bits
        of the rules that count.
        """
        at = slice(None) if garments is None else garments
        self._made_of = (table, given, width_mm, pieces_by_size, garments, makings)
        self._half_chest_mm = table.half_chest_mm[at]
        self._has_size: Flags = table.has_size[at]
        self._have = self._has_size.copy()
        self._unobtainable = [
            (bit, blocked[at]) for bit, blocked in table.unobtainable() if int(bit) & rules
        ]
        for _, blocked in self._unobtainable:
            self._have &= ~blocked[:, None, :]
        self._table = table
        self._asked_mm = width_mm
        self._pieces = pieces_by_size
        self._asked: Flags = np.array([size in pieces_by_size for size in table.sizes])
        self._unknown = any(size not in table.size_index for size in pieces_by_size)
        self._size_rules = [
            WidthRange(rule.bit, rule.least_mm[at], rule.greatest_mm[at])
            for rule in table.size_ranges(given)
            if int(rule.bit) & rules
        ]
        self._method_rules = [
            _narrowed(rule, makings, garments)
            for rule in table.method_ranges(given)
            if int(rule.bit) & rules
        ]
        weighed = (*self._size_rules, *self._method_rules)
        self._rules = sum(int(rule.bit) for rule in weighed)
        self._rules |= sum(int(bit) for bit, _ in self._unobtainable)
        self._under: dict[int, Fit] = {}

    def under(self, rules: int) -> Fit:
        """The same, had the shop no other rules than those of these bits."""
        mine = rules & self._rules
        if mine == self._rules:
            return self
        if mine not in self._under:
            self._under[mine] = Fit(*self._made_of, rules=mine)
        return self._under[mine]

    def width_mm(self, size: int, width: int, making: int, garment: int, place: int) -> float:
        """The print width of one combination."""
        if width == 0 and self._asked_mm is not None:
            return self._asked_mm
        return float(self._fitted(size)[0][making, garment, place])

    def range_mm(self, size: int) -> tuple[Floats, Floats]:
        """Least and greatest whole width that the rules leave, infinity for no greatest.

        Sizes are as asked (0) or those that work (1). Arrays are (makings, garments, placements)
        and may have 1 in place of the makings.
        """
        _, _, least, greatest = self._fitted(size)
        return np.maximum(np.ceil(least - SLACK_MM), _LEAST_MM), np.floor(greatest + SLACK_MM)

    def pieces(
        self, size: int, width: int, making: int, garment: int, place: int
    ) -> Mapping[str, int]:
        """Pieces by size of one combination, in the order asked for."""
        kept = self._kept(size, width)
        kept = kept[making if len(kept) > 1 else 0, garment, place]
        names = [name for name, index in self._table.size_index.items() if kept[index]]
        asked = {name: count for name, count in self._pieces.items() if name in names}
        return asked or {names[0]: sum(self._pieces.values())}

    def dropped(
        self,
        size: NDArray[np.intp],
        width: NDArray[np.intp],
        making: NDArray[np.intp],
        garment: NDArray[np.intp],
        place: NDArray[np.intp],
    ) -> NDArray[np.float64]:
        """How many pieces of each combination are not made in the size asked for."""
        counts = np.array([self._pieces.get(name, 0) for name in self._table.sizes])
        dropped = np.zeros(len(size))
        for at, wide in ((0, 0), (0, 1), (1, 0), (1, 1)):
            mine = np.flatnonzero((size == at) & (width == wide))
            if not mine.size:
                continue
            kept = self._kept(at, wide)
            made = making[mine] if len(kept) > 1 else np.zeros(len(mine), np.intp)
            dropped[mine] = counts.sum() - kept[made, garment[mine], place[mine]] @ counts
        return dropped

    def _kept(self, size: int, width: int) -> Flags:
        """Sizes made, with sizes and width as asked (0) or not.

        (makings, garments, placements, sizes), with 1 in place of the makings where those do not
        matter.
        """
        if size == 0:
            return np.broadcast_to(self._asked, (1, *self._have.shape))
        return self._roomy[0] if width else self._that_bear_the_width

    def _fitted(self, size: int) -> _Fitted:
        """The fitted widths with sizes as asked (0) or those that work (1)."""
        return self._roomy[1] if size else self._fitted_to_asked

    @cached_property
    def _fitted_to_asked(self) -> _Fitted:
        return self._fit(self._kept(0, 1))

    @cached_property
    def _that_bear_the_width(self) -> Flags:
        """Of the sizes asked for those that bear the width as asked, else the nearest that does."""
        nearest = np.where(self._bearing, -self._distance()[:, None, :], -np.inf)
        return _or_best(self._bearing & self._asked, nearest)[None]

    @cached_property
    def _roomy(self) -> tuple[Flags, _Fitted]:
        """Of the sizes asked for those to be had, else the roomiest; and the widths fitted to them.

        Where these leave a making no width, others of the garment that do. A making that asks for
        a wide print may do without the smaller of the sizes asked for, or need a larger one.
        """
        low, high = self._of_methods_mm
        least, greatest = self._room_mm
        roomiest = np.where(self._have, greatest, -np.inf)
        kept = _or_best(self._have & self._asked, roomiest)[None]
        fitted = self._fit(kept)
        found, lost = fitted[1], ~fitted[1]
        if lost.any():
            reach = np.minimum(high, roomiest.max(axis=-1))
            lost &= _nearest(self._asked_mm, low, reach)[1]
        rows = np.nonzero(lost)
        if not rows[0].size:
            return kept, fitted
        here = rows[1:]
        low, high = (np.broadcast_to(end, found.shape)[rows][:, None] for end in (low, high))
        least = np.maximum(least[here], low)
        greatest = np.minimum(greatest[here], high)
        fits = self._have[here] & _nearest(self._asked_mm, least, greatest)[1]
        other = _or_best(fits & self._asked, np.where(fits, greatest, -np.inf))
        every = np.broadcast_to(kept, (*found.shape, other.shape[-1])).copy()
        every[rows] = other
        changed = self._within(*_common(other, least, greatest))
        for whole, part in zip(fitted, changed, strict=True):
            whole[rows] = part
        return every, fitted

    @cached_property
    def _room_mm(self) -> tuple[Floats, Floats]:
        """Least and greatest width by size, (garments, placements, sizes)."""
        least, greatest = np.zeros(self._have.shape), np.full(self._have.shape, np.inf)
        for rule in self._size_rules:
            least = np.maximum(least, rule.least_mm)
            greatest = np.minimum(greatest, rule.greatest_mm)
        return least, greatest

    @cached_property
    def _of_methods_mm(self) -> tuple[Floats, Floats]:
        """Least and greatest width that the rules on methods leave; broadcasts to the table."""
        least, greatest = np.zeros((1, 1, 1)), np.full((1, 1, 1), np.inf)
        for rule in self._method_rules:
            least = np.maximum(least, rule.least_mm)
            greatest = np.minimum(greatest, rule.greatest_mm)
        return least, greatest

    @cached_property
    def _bearing(self) -> Flags:
        """Sizes to be had that bear the width asked for, as far as rules that read sizes tell."""
        fits = self._have.copy()
        if self._asked_mm is not None:
            for rule in self._size_rules:
                fits &= _inside(self._asked_mm, rule.least_mm, rule.greatest_mm)
        return fits

    def _distance(self) -> Floats:
        """How far each size's half chest is from that of the first size asked for, in mm."""
        table, chests = self._table, self._half_chest_mm
        index = table.size_index.get(next(iter(self._pieces), ""))
        wanted = np.zeros(len(chests)) if index is None else chests[:, index]
        if index is not None:
            # A garment that lacks the size is measured by those that have it.
            every = table.half_chest_mm[:, index]
            wanted = np.where(np.isfinite(wanted), wanted, every[np.isfinite(every)].mean())
        distance: Floats = np.where(np.isfinite(chests), np.abs(chests - wanted[:, None]), 1e9)
        return distance

    def _fit(self, kept: Flags) -> _Fitted:
        """Fitted width, whether there is one, and the range it lies in."""
        low, high = self._of_methods_mm
        least, greatest = _common(kept, *self._room_mm)
        return self._within(np.maximum(least, low), np.minimum(greatest, high))

    def _within(self, least: Floats, greatest: Floats) -> _Fitted:
        return (*_nearest(self._asked_mm, least, greatest), least, greatest)

    @cached_property
    def blocked(self) -> Bits:
        """Bits of the rules on width and sizes, for sizes and width as asked or not.

        (2, 2, 1, makings, garments, placements); where no width is asked for, 1 in place of the
        second.
        """
        widths = (0, 1) if self._asked_mm is not None else (1,)
        rows = [np.stack(np.broadcast_arrays(*[self.bits(z, w) for w in widths])) for z in (0, 1)]
        return np.stack(np.broadcast_arrays(*rows))[:, :, None]

    def bits(self, size: int, width: int) -> Bits:
        """The same for one choice of both; broadcasts to (makings, garments, placements)."""
        by_width = self._by_range(size) if width else self._by_width(size)
        return self._by_size(size) | by_width

    def leaves_a_width(self, size: int) -> Flags:
        """Where ``bits`` of a fitted width has none."""
        leaves: Flags = (self._by_size(size) == 0) & self._fitted(size)[1]
        return leaves

    def _by_size(self, size: int) -> Bits:
        """Bits for sizes that do not exist or cannot be had, (garments, placements)."""
        bits = np.zeros(self._has_size.shape[:2], np.uint64)
        if size == 1:
            for bit, blocked in self._unobtainable:
                gone = (self._has_size & blocked[:, None, :]).any(axis=-1)
                bits[gone & ~self._have.any(axis=-1)] |= bit
            bits[~self._has_size.any(axis=-1)] = NOT_OFFERED
            return bits
        bits[~self._has_size[:, :, self._asked].all(axis=-1) | self._unknown] |= NOT_OFFERED
        for bit, blocked in self._unobtainable:
            bits[blocked[:, self._asked].any(axis=-1)] |= bit
        return bits

    def _by_width(self, size: int) -> Bits:
        """Bits for the width as asked, (makings, garments, placements)."""
        asked = self._asked_mm or 0.0
        bits = np.zeros((1, *self._has_size.shape[:2]), np.uint64)
        # Without sizes to keep, a width is refused where no size that can be had bears it.
        sizes = self._kept(0, 0)
        if size == 1:
            sizes = self._have & ~self._bearing.any(axis=-1, keepdims=True)
        for rule in self._size_rules:
            outside = ~_inside(asked, rule.least_mm, rule.greatest_mm)
            refused = (outside & sizes).any(axis=-1)
            bits |= np.where(refused, rule.bit, 0).astype(np.uint64)
        return bits | self.by_method

    @cached_property
    def by_each_size(self) -> Bits:
        """Bits of the rules that refuse each size at the width as asked.

        (garments, placements, sizes). With sizes left open, nothing works where all are refused.
        """
        bits = self._not_to_be_had()
        for rule in self._size_rules:
            outside = ~_inside(self._asked_mm or 0.0, rule.least_mm, rule.greatest_mm)
            bits |= np.where(outside, rule.bit, 0).astype(np.uint64)
        return bits

    def alone(self, width: int) -> Bits:
        """Bits were each size ordered alone, at the width as asked (0) or fitted.

        (makings, garments, placements, sizes), with 1 in place of the makings where no rule on
        width reads the method.
        """
        if width == 0:
            return self.by_each_size | self.by_method[..., None]
        low, high = (end[..., None] for end in self._of_methods_mm)
        least = np.maximum(self._room_mm[0], low)
        greatest = np.minimum(self._room_mm[1], high)
        found = _nearest(self._asked_mm, least, greatest)[1]
        binding = np.zeros(found.shape, np.uint64)
        for rule in self._size_rules:
            binding |= _binding(rule.bit, rule.least_mm, rule.greatest_mm, least, greatest)
        for rule in self._method_rules:
            ends = rule.least_mm[..., None], rule.greatest_mm[..., None]
            binding |= _binding(rule.bit, *ends, least, greatest)
        binding[binding == 0] = NOT_OFFERED
        return self._not_to_be_had() | np.where(found, np.uint64(0), binding)

    def _not_to_be_had(self) -> Bits:
        """Bits of each size that does not exist or cannot be had, (garments, placements, sizes)."""
        bits: Bits = np.where(self._has_size, np.uint64(0), NOT_OFFERED)
        for bit, blocked in self._unobtainable:
            bits |= np.where(blocked[:, None, :], bit, 0).astype(np.uint64)
        return bits

    @cached_property
    def by_method(self) -> Bits:
        """Bits of the rules on methods that the width as asked breaks; broadcasts to the table."""
        bits = np.zeros((1, 1, 1), np.uint64)
        for rule in self._method_rules:
            outside = ~_inside(self._asked_mm or 0.0, rule.least_mm, rule.greatest_mm)
            bits = bits | np.where(outside, rule.bit, 0).astype(np.uint64)
        return bits

    def _by_range(self, size: int) -> Bits:
        """Bits of the rules that between them leave no width, (makings, garments, placements)."""
        _, found, least, greatest = self._fitted(size)
        kept = self._kept(size, 1)
        bits = np.zeros(found.shape, np.uint64)
        cells = np.nonzero(~found)
        if not cells[0].size:
            return bits
        made, here = (cells[0] if len(kept) > 1 else 0), cells[1:]
        binding = np.zeros(len(cells[0]), np.uint64)
        for rule in self._size_rules:
            ends = _common(kept[made, *here], rule.least_mm[here], rule.greatest_mm[here])
            binding |= _binding(rule.bit, *ends, least[cells], greatest[cells])
        for rule in self._method_rules:
            ends = (
                np.broadcast_to(rule.least_mm, found.shape)[cells],
                np.broadcast_to(rule.greatest_mm, found.shape)[cells],
            )
            binding |= _binding(rule.bit, *ends, least[cells], greatest[cells])
        bits[cells] = np.where(binding == 0, NOT_OFFERED, binding)
        return bits


def _narrowed(
    rule: WidthRange, makings: NDArray[np.intp] | None, garments: NDArray[np.intp] | None
) -> WidthRange:
    """The range of these makings and garments only."""
    least, greatest = rule.ends
    if makings is not None:
        least, greatest = least[makings], greatest[makings]
    if garments is not None and least.shape[1] > 1:
        least, greatest = least[:, garments], greatest[:, garments]
    return WidthRange(rule.bit, least, greatest)


def _common(kept: Flags, least: Floats, greatest: Floats) -> tuple[Floats, Floats]:
    """The range that all kept sizes leave; the last axis is the sizes."""
    return (
        np.where(kept, least, 0).max(axis=-1),
        np.where(kept, greatest, np.inf).min(axis=-1),
    )


def _nearest(asked_mm: float | None, least: Floats, greatest: Floats) -> tuple[Floats, Flags]:
    """The width asked for, or the nearest whole one in the range; and whether there is one.

    The range has the slack of the rules, so that all they let pass is found. Where none is asked
    for, the widest.
    """
    asked = np.inf if asked_mm is None else asked_mm
    fitted: Floats = np.where(asked < least - SLACK_MM, np.ceil(least - SLACK_MM), asked)
    fitted = np.where(fitted > greatest + SLACK_MM, np.floor(greatest + SLACK_MM), fitted)
    return fitted, _inside(fitted, least, greatest) & (fitted >= _LEAST_MM)


def _inside(width_mm: float | Floats, least_mm: Floats, greatest_mm: Floats) -> Flags:
    inside: Flags = (width_mm >= least_mm - SLACK_MM) & (width_mm <= greatest_mm + SLACK_MM)
    return inside


def _binding(bit: np.uint64, low: Floats, high: Floats, least: Floats, greatest: Floats) -> Bits:
    """The rule's bit where one of its ends is the end of the range that is left."""
    binds = ((low >= least - _TINY) & (low > 0)) | (high <= greatest + _TINY)
    bits: Bits = np.where(binds, bit, 0).astype(np.uint64)
    return bits


def _or_best(kept: Flags, preference: Floats) -> Flags:
    """The kept ones; where there is none, the one most preferred, if it is preferred at all."""
    best = preference.argmax(axis=-1)
    one: Flags = np.zeros_like(kept)
    np.put_along_axis(one, best[..., None], values=True, axis=-1)
    some = preference.max(axis=-1, keepdims=True) > -np.inf
    chosen: Flags = np.where(kept.any(axis=-1, keepdims=True), kept, one & some)
    return chosen
