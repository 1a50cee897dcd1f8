"""The shelf of artworks: it answers from memory, and never grows beyond its capacity."""

from __future__ import annotations

import threading

from service.domain.artwork import ArtworkMeasures
from service.domain.measuring import measure
from service.intake.artwork_shelf import ArtworkShelf, ShelvedArtwork
from service.intake.pictures import read_picture
from service.store.database import Database
from service.store.tables import Artwork
from tests.store.rows import NOON
from tests.web.shop.door import picture


def measures() -> ArtworkMeasures:
    """Measures of a plain square."""
    data = picture()
    return measure(
        read_picture(data, declared_media_type=None, max_pixels=10**6, max_bytes=10**6).rgba
    )


def artwork(holder: str = "corner-shop") -> ShelvedArtwork:
    """An artwork on the shelf."""
    return ShelvedArtwork(holder, measures(), rights_declared=True)


def test_the_longest_unused_goes_first() -> None:
    """Beyond the capacity the artwork that was asked for longest ago is dropped."""
    shelf, one = ArtworkShelf(capacity=2), artwork()
    shelf.put("a", one)
    shelf.put("b", one)
    assert shelf.at_hand(["a"]) == {"a": one}
    shelf.put("c", one)
    assert shelf.at_hand(["a", "b", "c"]).keys() == {"a", "c"}


def test_what_is_not_at_hand_is_fetched(database: Database) -> None:
    """A fetch reads what is missing from the store, once, and leaves out what does not exist."""
    shelf, one = ArtworkShelf(), artwork()
    row = Artwork(
        id="art_1",
        holder=one.holder,
        sha256="0" * 64,
        media_type="image/png",
        byte_size=1,
        rights_declared=True,
        measures_json=one.measures.model_dump_json(),
        created_at=NOON,
    )
    database.write(lambda session: session.add(row))
    assert shelf.at_hand(["art_1"]) == {}
    found = database.read(lambda session: shelf.fetch(session, ["art_1", "art_2"]))
    assert found == {"art_1": one}
    assert shelf.at_hand(["art_1", "art_2"]) == {"art_1": one}


def test_shared_by_threads() -> None:
    """Threads that put and look at once neither lose the bound nor meet a broken shelf."""
    shelf, one = ArtworkShelf(capacity=5), artwork()
    names = [f"art_{number}" for number in range(20)]
    failures: list[BaseException] = []

    def work(offset: int) -> None:
        try:
            for turn in range(300):
                shelf.put(names[(turn + offset) % 20], one)
                assert len(shelf.at_hand(names)) <= 5
        except BaseException as error:  # noqa: BLE001 - told by the test's own thread
            failures.append(error)

    threads = [threading.Thread(target=work, args=(offset,)) for offset in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    assert not failures
    assert len(shelf.at_hand(names)) == 5
