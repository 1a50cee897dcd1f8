"""Artworks over HTTP: measured once, kept once per storefront, told back the same."""

from __future__ import annotations

import hashlib
import io
import itertools
import os
import shutil
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from threading import Barrier, Event
from typing import Any

import numpy as np
import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from sqlmodel import Session
from starlette.testclient import TestClient

from service.assembly import assemble
from service.domain.errors import Unavailable
from service.intake import artworks as artworks_module
from service.intake.kept_pictures import KeptPicture, kept_picture
from service.intake.outlines import OutlineQuery, outline_drawing
from service.intake.picture_room import (
    PictureWorkCrashed,
    PictureWorkKilled,
    PictureWorkTooLarge,
    PictureWorkTooLong,
)
from service.intake.proofs import made_small
from service.intake.services import Caller as Holder
from service.intake.services import Services
from service.render.outline_svg import outline_svg
from service.store.tables import Artwork
from service.web.app import create_app
from tests.conftest import FakeClock
from tests.web.shop.conftest import counting_ids, opened_shop
from tests.web.shop.door import (
    BARRIER_S,
    ON_ONE_STORE,
    Caller,
    ShopDoor,
    answered,
    decoration,
    line,
    only_error,
    picture,
    refused,
    together,
)


def test_an_upload_is_measured(storefront: Caller) -> None:
    """The answer gives size, ink box, ground and colours, and a GET gives the same."""
    response = storefront.upload(picture("#1565c0"))
    artwork = answered(response, 201)
    assert response.headers["location"] == f"/v1/artworks/{artwork['id']}"
    assert (artwork["width_px"], artwork["height_px"]) == (300, 300)
    assert artwork["ink_box_px"] == [0, 0, 300, 300]
    assert (artwork["media_type"], artwork["has_alpha"]) == ("image/png", False)
    assert artwork["palette"] == [{"srgb": "#1565c0", "share": 1.0}]
    assert artwork["rights_declared"] is True
    assert answered(storefront.get(response.headers["location"]), 200) == artwork


def test_the_same_picture_again_is_the_first_one(shop: ShopDoor) -> None:
    """The same bytes from one storefront are one artwork; another storefront has its own."""
    storefront, other = shop.storefront, shop.other
    files = {"file": ("a.png", picture(), "image/png")}
    first = answered(storefront.send("POST", "/v1/artworks", files=files), 201)
    assert first["rights_declared"] is False
    again = storefront.upload(picture())
    assert again.headers["location"] == f"/v1/artworks/{first['id']}"
    assert answered(again, 200) == {**first, "rights_declared": True}
    undeclared = storefront.send("POST", "/v1/artworks", files=files)
    assert answered(undeclared, 200)["rights_declared"] is True
    assert answered(other.upload(picture()), 201)["id"] != first["id"]


def test_the_same_picture_at_once(
    shop: ShopDoor, storefront: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of two uploads that both find the picture new, one keeps it and the other gives that one.

    On SQLite writers are alone, so that the second never finds it new.
    """
    both_looked = Barrier(2 if shop.assembly.database.dialect == "postgresql" else 1)
    looks = itertools.count()
    look = artworks_module._keep

    def look_together(session: Session, row: Artwork) -> tuple[Artwork, bool]:
        found = look(session, row)
        if next(looks) < 2:
            both_looked.wait(BARRIER_S)
        return found

    monkeypatch.setattr(artworks_module, "_keep", look_together)
    answers = together([partial(storefront.upload, picture())] * 2)
    assert Counter(answer.status_code for answer in answers) == {201: 1, 200: 1}
    assert len({answer.json()["id"] for answer in answers}) == 1
    own = [row for row in shop.rows(Artwork) if row.id != decoration()["artwork_id"]]
    assert len(own) == 1


def test_an_upload_can_be_used_after_a_restart(
    store_url: str, tmp_path: Path, clock: FakeClock
) -> None:
    """What was uploaded is judged and priced the same by a process that did not measure it."""
    ids = counting_ids()
    with opened_shop(tmp_path, store_url, clock, ids) as shop:
        artwork = answered(shop.other.upload(picture()), 201)["id"]
        wish = line(decoration(artwork_id=artwork, width_mm=60))
        before = shop.other.quote(wish)
        key = shop.other.key
        assembly = assemble(
            shop.assembly.settings, clock=clock, new_id=ids, install_catalogue=False
        )
        assembly.services.catalogues.refresh()
        with TestClient(create_app(assembly)) as client:
            again = Caller(client, shop.other.holder, key).quote(wish)
        assembly.close()
    assert {**again, "id": before["id"]} == before


def _told_picture() -> bytes:
    """A half clear picture with a word of whoever made it beside the pixels."""
    told = PngInfo()
    told.add_text("Author", "an invented name")
    image = Image.new("RGBA", (40, 30), (200, 30, 40, 255))
    image.paste((0, 0, 0, 0), (0, 0, 20, 30))
    kept = io.BytesIO()
    image.save(kept, "PNG", pnginfo=told)
    return kept.getvalue()


def _kept(shop: ShopDoor, artwork_id: str) -> KeptPicture:
    return kept_picture(shop.assembly.services, Holder("", in_shop=True), artwork_id)


def _files(folder: Path) -> set[str]:
    return {"".join(path.parts[-3:]) for path in (folder / "artworks").rglob("*") if path.is_file()}


@contextmanager
def _room_runs(shop: ShopDoor, run: Any) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shop.assembly.services.picture_room, "run", run)
        yield


def test_a_copy_larger_than_an_upload_may_be(shop: ShopDoor, storefront: Caller) -> None:
    """Of grain in a JPEG a lossless copy is many times as large, and is drawn all the same."""
    grain = np.random.default_rng(5).integers(0, 256, (300, 300, 3), dtype=np.uint8)
    sent = io.BytesIO()
    Image.fromarray(grain).save(sent, "JPEG", quality=20)
    files = {"file": ("a.jpg", sent.getvalue(), "image/jpeg")}
    artwork = answered(storefront.send("POST", "/v1/artworks", files=files), 201)
    kept = _kept(shop, artwork["id"])
    most = len(kept.data) // 2
    assert most > artwork["byte_size"]
    services = replace(shop.assembly.services, max_upload_bytes=most)
    assert "<svg" in outline_drawing(services, kept, OutlineQuery(width_mm=50), outline_svg)
    assert made_small(services.picture_room, kept, services.max_pixels).levels[0].across == 300


@ON_ONE_STORE
def test_two_pictures_in_one_form_are_refused(asking: Caller) -> None:
    """Neither is dropped without a word."""
    files = [("file", (name, picture(), "image/png")) for name in ("a.png", "b.png")]
    error = only_error(
        refused(asking.send("POST", "/v1/artworks", files=files), 422, "fields-refused")
    )
    assert (error["parameter"], error["code"]) == ("file", "too-many")


@ON_ONE_STORE
@pytest.mark.parametrize("width", ["0", "1e-320", "0.0009", "nan", ("40", "50")])
def test_a_width_that_cannot_be_judged(asking: Caller, width: str | tuple[str, str]) -> None:
    """What is too narrow for its numbers to be written is refused, as are two widths."""
    address = f"/v1/artworks/{decoration()['artwork_id']}"
    answer = asking.get(address, params={"width_mm": width})
    assert only_error(refused(answer, 422, "fields-refused"))["parameter"] == "width_mm"


def test_only_a_clean_copy_is_kept(shop: ShopDoor, storefront: Caller, tmp_path: Path) -> None:
    """What lies in the file store has the same pixels and nothing that was said beside them.

    Source: Pillow reads the pixels and the texts of both files.
    """
    before, sent = _files(tmp_path), _told_picture()
    artwork = answered(storefront.upload(sent), 201)
    assert artwork["byte_size"] == len(sent)
    kept = _kept(shop, artwork["id"])
    assert kept.sha256 == hashlib.sha256(kept.data).hexdigest()
    assert _files(tmp_path) - before == {kept.sha256}
    assert (kept.media_type, kept.measures.width_px) == ("image/png", 40)
    assert b"invented name" in sent
    assert b"invented name" not in kept.data
    images = [Image.open(io.BytesIO(data)) for data in (sent, kept.data)]
    assert images[0].tobytes() == images[1].tobytes()
    assert images[1].info == {}


def test_a_picture_from_before_copies_were_made(shop: ShopDoor, storefront: Caller) -> None:
    """It is given as it was uploaded; uploaded again, the same artwork has a copy from then on."""
    sent = _told_picture()
    artwork = answered(storefront.upload(sent), 201)

    def as_before(session: Session) -> None:
        session.get_one(Artwork, artwork["id"]).kept_sha256 = None

    shop.assembly.database.write(as_before)
    shop.assembly.services.files.put(sent)
    assert _kept(shop, artwork["id"]).data == sent
    assert answered(storefront.upload(sent), 200) == artwork
    assert b"invented name" not in _kept(shop, artwork["id"]).data


def test_a_known_picture_is_not_read_again(shop: ShopDoor, storefront: Caller) -> None:
    """Neither decoded nor measured; sent as something else than it is, it is refused as ever."""
    first = answered(storefront.upload(picture()), 201)

    def not_at_all(*_: object, **__: object) -> None:
        raise AssertionError

    with _room_runs(shop, not_at_all):
        assert answered(storefront.upload(picture()), 200) == first
    files = {"file": ("a.webp", picture(), "image/webp")}
    problem = refused(storefront.send("POST", "/v1/artworks", files=files), 422, "picture-refused")
    assert only_error(problem)["code"] == "picture-type-mismatch"


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (PictureWorkTooLong(20), "picture-takes-too-long"),
        (PictureWorkTooLarge(), "picture-too-many-pixels"),
        (PictureWorkCrashed(), "picture-unreadable"),
    ],
)
def test_a_picture_beyond_the_bounds_of_its_room(
    shop: ShopDoor, storefront: Caller, tmp_path: Path, error: Exception, code: str
) -> None:
    """It is refused as the picture it is, with a way out, and nothing is kept."""
    before = _files(tmp_path), shop.row_counts()["artwork"]

    def too_much(*_: object, **__: object) -> None:
        raise error

    with _room_runs(shop, too_much):
        problem = refused(storefront.upload(picture()), 422, "picture-refused")
    fault = only_error(problem)
    assert (fault["code"], fault["parameter"]) == (code, "file")
    assert "fewer pixels" in fault["detail"]
    assert (_files(tmp_path), shop.row_counts()["artwork"]) == before


def test_a_picture_whose_worker_was_killed(
    shop: ShopDoor, storefront: Caller, tmp_path: Path
) -> None:
    """It may be sent again, for the picture is not at fault; nothing was kept, and then it is."""
    before = _files(tmp_path), shop.row_counts()["artwork"]

    def killed(*_: object, **__: object) -> None:
        raise PictureWorkKilled

    with _room_runs(shop, killed):
        answer = storefront.upload(picture())
    assert "ended from outside" in refused(answer, 503, "picture-room-away")["detail"]
    assert int(answer.headers["retry-after"]) > 0
    assert (_files(tmp_path), shop.row_counts()["artwork"]) == before
    answered(storefront.upload(picture()), 201)


def test_pictures_wait_up_to_a_number(
    store_url: str, tmp_path: Path, clock: FakeClock, ids: Any
) -> None:
    """One works and one waits; a third is sent away with a time to come again, and nobody hangs."""
    working, go_on = Event(), Event()

    def slowly(work: Any, *args: Any, **named: Any) -> Any:
        working.set()
        assert go_on.wait(BARRIER_S)
        return work(*args, **named)

    few: dict[str, Any] = {"compute_threads": 1, "pictures_waiting": 1}
    with (
        opened_shop(tmp_path, store_url, clock, ids, **few) as shop,
        ThreadPoolExecutor(2) as hands,
    ):
        send = shop.storefront.upload
        with _room_runs(shop, slowly):
            first = hands.submit(send, picture("#101010"))
            assert working.wait(BARRIER_S)
            second = hands.submit(send, picture("#202020"))
            threads = shop.client.app.state.rooms.picture_threads  # type: ignore[attr-defined]  # our application
            while threads._count < 2:
                assert not second.done()
            third = send(picture("#303030"))
            go_on.set()
            answers = [first.result(BARRIER_S), second.result(BARRIER_S)]
    refused(third, 503, "pictures-waiting")
    assert int(third.headers["retry-after"]) > 0
    assert [answer.status_code for answer in answers] == [201, 201]


def test_uploads_are_read_by_worker_processes(
    tmp_path: Path, migrated_sqlite_file: Path, clock: FakeClock, ids: Any
) -> None:
    """By processes of its own the service answers a picture and a refusal as without them."""
    url = f"sqlite:///{shutil.copyfile(migrated_sqlite_file, tmp_path / 'intake.sqlite3')}"
    with opened_shop(tmp_path, url, clock, ids, picture_workers=1) as shop:
        artwork = answered(shop.storefront.upload(_told_picture()), 201)
        broken = refused(shop.storefront.upload(picture()[:60]), 422, "picture-refused")
        services: Services = shop.assembly.services
        assert services.picture_room.run(os.getpid) != os.getpid()
        assert (artwork["width_px"], artwork["has_alpha"]) == (40, True)
        assert only_error(broken)["code"] == "picture-truncated"
    with pytest.raises(Unavailable, match="just now"):
        services.picture_room.run(len, b"")
