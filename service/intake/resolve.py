"""From what a caller wrote to what the domain judges; every unknown name is reported at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput, FieldFault
from service.domain.fibre_labels import label_faults
from service.domain.fibres import Fibre, FibreContent, FibreShare, fibre_named
from service.domain.garments import Garment, SuppliedGarment, supplied_garment
from service.domain.wishes import Decoration, Line
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.names import unknown_name
from service.intake.requests import (
    ANY_METHOD,
    DecorationRequest,
    LineRequest,
    SuppliedGarmentRequest,
)

Path = tuple[str | int, ...]


def artwork_ids(lines: Iterable[LineRequest]) -> frozenset[str]:
    """The artworks the lines speak of."""
    return frozenset(d.artwork_id for line in lines for d in line.decorations)


def resolve_lines(
    compiled: CompiledCatalogue,
    lines: Sequence[LineRequest],
    artworks: Mapping[str, ShelvedArtwork],
    path: Path | None = None,
) -> tuple[Line, ...]:
    """Resolve every line, or raise ``BadInput`` naming every field that cannot be.

    ``artworks`` holds those artworks that exist and belong to the caller. ``path`` is where the one
    line stands in the request; None where several stand in ``lines``.
    """
    resolver = _Resolver(compiled, artworks)
    resolved = [resolver.line(line, path or ("lines", index)) for index, line in enumerate(lines)]
    resolver.check_pieces(lines, path or ("lines",))
    if resolver.faults:
        raise BadInput(
            "fields-refused",
            "Some fields name what this shop does not have or cannot be used together.",
            faults=resolver.faults,
        )
    return tuple(line for line in resolved if line is not None)


class _Resolver:
    def __init__(self, compiled: CompiledCatalogue, artworks: Mapping[str, ShelvedArtwork]) -> None:
        self._compiled = compiled
        self._artworks = artworks
        self.faults: list[FieldFault] = []

    def line(self, request: LineRequest, path: Path) -> Line | None:
        garment = self._garment(request, path)
        if garment is None:
            return None
        known = [size in garment.half_chest_mm for size in request.sizes]
        for size, ok in zip(request.sizes, known, strict=True):
            if not ok:
                of = f" of {garment.name}"
                self._unknown((*path, "sizes", size), "size", size, garment.half_chest_mm, of)
        decorations = [
            self._decoration(decoration, garment, (*path, "decorations", index))
            for index, decoration in enumerate(request.decorations)
        ]
        self._no_shared_placement(request, path)
        usable = tuple(decoration for decoration in decorations if decoration is not None)
        return Line(garment, dict(request.sizes), usable)

    def check_pieces(self, lines: Sequence[LineRequest], path: Path) -> None:
        limit = self._compiled.catalogue.policy.max_pieces_per_order
        pieces = sum(sum(line.sizes.values()) for line in lines)
        if pieces > limit:
            detail = f"{pieces} pieces in all; this shop takes at most {limit} in one order."
            self._fault(path, detail, "too-many-pieces")

    def _garment(self, request: LineRequest, path: Path) -> Garment | None:
        if request.garment is not None:
            return self._supplied(request.garment, request.sizes, (*path, "garment"))
        blank = self._compiled.catalogue.blank_by_id.get(request.blank or "")
        if blank is None:
            known = self._compiled.catalogue.blank_by_id
            self._unknown((*path, "blank"), "blank", request.blank or "", known)
            return None
        garment = self._compiled.garments.get((blank.id, request.colour or ""))
        if garment is None:
            known_colours = [colour.id for colour in blank.colours]
            named, of = request.colour or "", f" of {blank.name}"
            self._unknown((*path, "colour"), "colour", named, known_colours, of)
        return garment

    def _supplied(
        self, request: SuppliedGarmentRequest, sizes: Iterable[str], path: Path
    ) -> Garment | None:
        policy = self._compiled.catalogue.policy
        stated = [(entry.fibre, entry.percent) for entry in request.fibre_content]
        faults = label_faults(
            stated, policy.label_regime, functional=(Fibre.ELASTANE.value, "spandex")
        )
        for fault in faults:
            at = () if fault.index is None else (fault.index,)
            detail = f"{fault.message} ({fault.article}). {fault.way_out}".rstrip()
            self._fault((*path, "fibre_content", *at), detail, "fibre-label")
        if faults:
            return None
        shares = tuple(
            FibreShare(fibre=fibre_named(name) or Fibre.OTHER, percent=percent)
            for name, percent in stated
        )
        described = SuppliedGarment(
            fibre_content=FibreContent(shares=shares),
            **request.model_dump(exclude={"fibre_content"}),
        )
        return supplied_garment(described, tuple(sizes), policy.supplied_placements)

    def _decoration(
        self, request: DecorationRequest, garment: Garment, path: Path
    ) -> Decoration | None:
        before = len(self.faults)
        placement = garment.placements.get(request.placement)
        if placement is None:
            named, of = request.placement, f" on {garment.name}"
            self._unknown((*path, "placement"), "placement", named, garment.placements, of)
        artwork = self._artworks.get(request.artwork_id)
        if artwork is None:
            detail = "No such artwork of yours; upload it first and use the id you are given."
            self._fault((*path, "artwork_id"), detail, "artwork-unknown")
        methods = self._compiled.catalogue.method_by_id
        if request.method != ANY_METHOD and request.method not in methods:
            self._unknown((*path, "method"), "method", request.method, [ANY_METHOD, *methods])
        self._film_colour(request, path)
        if artwork is None or len(self.faults) > before:
            return None
        return Decoration(
            placement_id=request.placement,
            artwork_id=request.artwork_id,
            artwork=artwork.measures,
            rights_declared=artwork.rights_declared,
            width_mm=request.width_mm,
            method_id=None if request.method == ANY_METHOD else request.method,
            film_colour_id=request.film_colour,
            consents=frozenset(request.consents),
        )

    def _film_colour(self, request: DecorationRequest, path: Path) -> None:
        if request.film_colour is None:
            return
        media = self._compiled.catalogue.media
        known = sorted({colour.id for medium in media for colour in medium.colours})
        if request.film_colour not in known:
            self._unknown((*path, "film_colour"), "film colour", request.film_colour, known)

    def _no_shared_placement(self, request: LineRequest, path: Path) -> None:
        seen: set[str] = set()
        for index, decoration in enumerate(request.decorations):
            if decoration.placement in seen:
                detail = (
                    f"Placement '{decoration.placement}' is used twice on one garment; combine the "
                    "artworks or choose another placement."
                )
                where = (*path, "decorations", index, "placement")
                self._fault(where, detail, "placement-used-twice")
            seen.add(decoration.placement)

    def _unknown(
        self, path: Path, kind: str, named: str, known: Iterable[str], of: str = ""
    ) -> None:
        self._fault(path, unknown_name(kind, named, known, of), "unknown")

    def _fault(self, path: Path, detail: str, code: str) -> None:
        self.faults.append(FieldFault(detail=detail, path=path, code=code))
