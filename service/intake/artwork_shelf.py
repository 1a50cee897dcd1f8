"""Measures of artworks at hand: read from the store once and kept, for they never change."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlmodel import Session, col, select

from service.domain.artwork import ArtworkMeasures
from service.domain.memo import Memo
from service.store.tables import Artwork


@dataclass(frozen=True, slots=True)
class ShelvedArtwork:
    """An artwork's owner, its measures, and whether its rights were declared."""

    holder: str
    measures: ArtworkMeasures
    rights_declared: bool


class ArtworkShelf:
    """A bounded cache of artworks by id, shared by all threads.

    ``drawn`` remembers what was drawn of artworks, by what for and catalogue version: the latest
    version's alone, for the one before is not in force any more.
    """

    def __init__(self, capacity: int = 10_000) -> None:
        """Keep at most ``capacity`` artworks, dropping the longest unused."""
        self.drawn = Memo(1)
        self._capacity = capacity
        self._kept: OrderedDict[str, ShelvedArtwork] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, artwork_id: str, artwork: ShelvedArtwork) -> None:
        """Keep an artwork."""
        with self._lock:
            self._kept[artwork_id] = artwork
            self._kept.move_to_end(artwork_id)
            while len(self._kept) > self._capacity:
                self._kept.popitem(last=False)

    def at_hand(self, artwork_ids: Iterable[str]) -> dict[str, ShelvedArtwork]:
        """Those of the artworks that are kept."""
        with self._lock:
            found = {id_: self._kept[id_] for id_ in artwork_ids if id_ in self._kept}
            for id_ in found:
                self._kept.move_to_end(id_)
        return found

    def fetch(self, session: Session, artwork_ids: Iterable[str]) -> Mapping[str, ShelvedArtwork]:
        """All of the artworks that exist, reading what is not kept."""
        wanted = set(artwork_ids)
        found = self.at_hand(wanted)
        missing = wanted - found.keys()
        if missing:
            rows = session.exec(select(Artwork).where(col(Artwork.id).in_(missing))).all()
            for row in rows:
                measures = ArtworkMeasures.model_validate_json(row.measures_json)
                found[row.id] = ShelvedArtwork(row.holder, measures, row.rights_declared)
                self.put(row.id, found[row.id])
        return found
