"""Files by the SHA-256 of their content, in a folder or in object storage."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final
from urllib.parse import unquote, urlsplit

import fsspec
from fsspec.core import url_to_fs
from fsspec.implementations.local import LocalFileSystem

from service.domain.errors import NotFound
from service.store.faults import store_unavailable

_SHA256_HEX: Final = re.compile(r"[0-9a-f]{64}", re.ASCII)


class DamagedFileError(RuntimeError):
    """A stored file's bytes are no longer those it is named by."""


class FileStore:
    """Bytes kept under the SHA-256 of their content, so that one name never means two contents.

    Safe for threads and for several processes on one folder or bucket. Every method raises
    :class:`Unavailable` when the storage is away.
    """

    def __init__(self, files: fsspec.AbstractFileSystem, root: str) -> None:
        """Use :meth:`open`."""
        self._files = files
        self._root = root.rstrip("/")

    @classmethod
    def open(cls, url: str) -> FileStore:
        """The store at an fsspec ``url``: ``file:///folder``, ``memory://name`` or a bucket's.

        Raises :class:`ValueError` for a URL of no known kind.
        """
        if url.startswith("file:"):
            # A folder's URL escapes blanks (RFC 8089, from memory), which fsspec does not undo.
            return cls(LocalFileSystem(), unquote(urlsplit(url).path))
        files, root = url_to_fs(url)
        return cls(files, root)

    def put(self, data: bytes) -> str:
        """Keep ``data``; gives its SHA-256 in hex. Keeping the same bytes again changes nothing.

        When this returns, the file is on the disk; no reader ever sees a part of it.
        """
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._path(sha256)
        with _away_is_unavailable():
            if isinstance(self._files, LocalFileSystem):
                _write_whole(Path(path), data)
            else:
                # Object storage shows an object once all of it has arrived.
                self._files.pipe_file(path, data)
        return sha256

    def get(self, sha256: str) -> bytes:
        """The bytes kept under ``sha256``.

        Raises :class:`NotFound` when there are none, :class:`DamagedFileError` when they are not
        those that were kept, and :class:`ValueError` for what is no SHA-256 in lower-case hex.
        """
        path = self._path(sha256)
        with _away_is_unavailable():
            try:
                data: bytes = self._files.cat_file(path)
            except FileNotFoundError:
                raise NotFound("file-not-found", "There is no such file.") from None
        if hashlib.sha256(data).hexdigest() != sha256:
            raise DamagedFileError(f"the file {sha256} does not hold what was kept")
        return data

    def exists(self, sha256: str) -> bool:
        """Whether bytes are kept under ``sha256``."""
        path = self._path(sha256)
        with _away_is_unavailable():
            return bool(self._files.isfile(path))

    def delete(self, sha256: str) -> None:
        """Drop the bytes kept under ``sha256``, if there are any."""
        path = self._path(sha256)
        with _away_is_unavailable():
            try:
                self._files.rm_file(path)
            except FileNotFoundError:
                return

    def _path(self, sha256: str) -> str:
        # The pattern also keeps a caller from naming a path outside the store.
        if not _SHA256_HEX.fullmatch(sha256):
            raise ValueError("a file is named by 64 lower-case hex digits")
        return f"{self._root}/{sha256[:2]}/{sha256[2:4]}/{sha256[4:]}"


@contextmanager
def _away_is_unavailable() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise store_unavailable("The files cannot be reached just now.") from error


def _write_whole(path: Path, data: bytes) -> None:
    """Write beside ``path``, then rename over it: the name appears with all of its bytes."""
    path.parent.mkdir(parents=True, exist_ok=True)
    descriptor, partial = tempfile.mkstemp(prefix=".part-", dir=path.parent)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(partial).replace(path)
    except BaseException:
        Path(partial).unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    # A rename lasts through a power cut only once its folder is on the disk.
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
