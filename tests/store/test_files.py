"""Files by the hash of their content, in a folder and in a store that has none."""

from __future__ import annotations

import hashlib
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from uuid import uuid4

import fsspec
import pytest

from service.domain.errors import NotFound, Unavailable
from service.store.files import DamagedFileError, FileStore

# FIPS 180-4, the one-block example "abc" of the standard's published test values (from memory).
ABC_SHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture(params=["file", "memory"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """URL of an empty file store; the test runs once for each kind."""
    if request.param == "file":
        return (tmp_path / "artworks").as_uri()
    return f"memory://artworks-{uuid4().hex}"


def test_what_was_kept_comes_back(url: str) -> None:
    """The name is the SHA-256 of the bytes, and any opener of the URL finds them."""
    assert FileStore.open(url).put(b"abc") == ABC_SHA256
    assert FileStore.open(url).get(ABC_SHA256) == b"abc"


def test_keeping_the_same_bytes_again_changes_nothing(url: str) -> None:
    """One content, one file."""
    store = FileStore.open(url)
    assert store.put(b"abc") == store.put(b"abc")
    files, root = fsspec.core.url_to_fs(url)
    assert len(files.find(root)) == 1


def test_the_path_is_made_of_the_hash(url: str) -> None:
    """Two levels of folders keep each of them small."""
    FileStore.open(url).put(b"abc")
    files, root = fsspec.core.url_to_fs(url)
    [path] = files.find(root)
    assert path == f"{root}/ba/78/{ABC_SHA256[4:]}"


def test_what_is_not_there_is_not_found(url: str) -> None:
    """Reading says so; asking and deleting do not mind."""
    store = FileStore.open(url)
    with pytest.raises(NotFound) as refusal:
        store.get(ABC_SHA256)
    assert refusal.value.code == "file-not-found"
    assert not store.exists(ABC_SHA256)
    store.delete(ABC_SHA256)


def test_what_was_deleted_is_gone_and_may_come_again(url: str) -> None:
    """Deleting is for one name."""
    store = FileStore.open(url)
    kept, dropped = store.put(b"kept"), store.put(b"dropped")
    store.delete(dropped)
    assert (store.exists(kept), store.exists(dropped)) == (True, False)
    store.put(b"dropped")
    assert store.get(dropped) == b"dropped"


def test_a_file_that_was_changed_is_not_handed_out(url: str) -> None:
    """The hash is checked at every reading; keeping the right bytes again mends the file."""
    store = FileStore.open(url)
    store.put(b"abc")
    files, root = fsspec.core.url_to_fs(url)
    files.pipe_file(f"{root}/ba/78/{ABC_SHA256[4:]}", b"abd")
    with pytest.raises(DamagedFileError):
        store.get(ABC_SHA256)
    store.put(b"abc")
    assert store.get(ABC_SHA256) == b"abc"


@pytest.mark.parametrize(
    "name",
    [
        "",
        "abc",
        ABC_SHA256.upper(),
        ABC_SHA256 + "0",
        ABC_SHA256[:-1] + "\n",
        ABC_SHA256 + "\n",
        "../" * 20 + "etc",
        "٠" * 64,
    ],
)
def test_a_name_that_is_no_hash_is_refused(url: str, name: str) -> None:
    """Sixty-four lower-case hex digits and nothing else, so no name leads out of the store."""
    store = FileStore.open(url)
    for use in (store.get, store.exists, store.delete):
        with pytest.raises(ValueError, match="64 lower-case hex"):
            use(name)


def test_a_reader_never_sees_half_a_file(url: str) -> None:
    """While eight threads keep the same large file, each reading is nothing or all of it."""
    store = FileStore.open(url)
    data = b"\x5a" * 2_000_000
    name = hashlib.sha256(data).hexdigest()
    start = threading.Barrier(9)

    def keep() -> None:
        start.wait(5)
        store.put(data)

    def look() -> None:
        start.wait(5)
        for _ in range(20):
            if store.exists(name):
                assert store.get(name) == data

    with ThreadPoolExecutor(9) as pool:
        for done in [pool.submit(keep) for _ in range(8)] + [pool.submit(look)]:
            done.result(30)
    assert store.get(name) == data


def test_nothing_is_left_beside_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that fails takes its unfinished file away and is told as unavailable."""

    def fail(_descriptor: int) -> None:
        raise OSError("no space left")

    monkeypatch.setattr("service.store.files.os.fsync", fail)
    store = FileStore.open(tmp_path.as_uri())
    with pytest.raises(Unavailable) as refusal:
        store.put(b"abc")
    assert refusal.value.code == "store-unavailable"
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    assert not store.exists(ABC_SHA256)


def test_a_folder_with_blanks_and_percent_signs_in_its_name(tmp_path: Path) -> None:
    """A folder's URL escapes them (RFC 8089, from memory); the files lie in that folder."""
    folder = tmp_path / "my data 100%"
    FileStore.open(folder.as_uri()).put(b"abc")
    assert (folder / "ba" / "78" / ABC_SHA256[4:]).read_bytes() == b"abc"


def test_a_url_of_no_known_kind_is_refused() -> None:
    """At the start, not at the first upload."""
    with pytest.raises(ValueError, match="nowhere"):
        FileStore.open("nowhere://bucket")
