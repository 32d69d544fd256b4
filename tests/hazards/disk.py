"""A disk that is watched at each step, can fail at any, and can lose power at any.

SQLite reaches files through a table of C functions; here its own table, with writing, cutting, syncing, opening
and deleting led past a `Watcher` first. So every file of the ledger passes, with the library that the program
really uses. What Python itself does to files (the calibrations, backups, renames) is led past by `watched`.

    Tape      every step of a run, in order, each with the moment it was taken at
    Images    what a disk holds after some of these steps: as the kernel has it, and as is left without power
"""

from __future__ import annotations

import _sqlite3
import ctypes
import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from ctypes import CFUNCTYPE, c_int, c_int64, c_void_p
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any, Protocol

import pytest

SQLITE_FULL = 13
SQLITE_IOERR_WRITE = 10 | 3 << 8
SQLITE_IOERR_FSYNC = 10 | 4 << 8
OPEN_READONLY, OPEN_READWRITE, OPEN_CREATE = 0x1, 0x2, 0x4
SECTOR_BYTES = 512

# Where the functions stand in SQLite's tables (sqlite3.h: sqlite3_io_methods, sqlite3_vfs), in pointers.
METHODS, X_WRITE, X_TRUNCATE, X_SYNC = 19, 3, 4, 5
VFS, Z_NAME, X_OPEN, X_DELETE = 21, 3, 5, 6

_WRITE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
_TRUNCATE = CFUNCTYPE(c_int, c_void_p, c_int64)
_SYNC = CFUNCTYPE(c_int, c_void_p, c_int)
_OPEN = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, c_void_p)
_DELETE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int)
_LED_PAST = ((_WRITE, X_WRITE), (_TRUNCATE, X_TRUNCATE), (_SYNC, X_SYNC))


@dataclass(frozen=True, slots=True)
class Step:
    """One thing done: to a file (paths), to a pin or by the keeper (about).

    at_s: real seconds; content: what is written at `offset`; amount: of a pin its level, of a run its seconds,
    of a cut the bytes left.
    """

    at_s: float
    what: str
    path: str = ""
    about: str = ""
    offset: int = 0
    content: bytes = b""
    amount: float = 0.0


class Watcher(Protocol):
    """Hears of each step before it is done. An SQLite error code other than 0 takes its place."""

    def __call__(self, what: str, path: str, offset: int = 0, content: bytes = b"", about: str = "") -> int: ...


def _pass_by(what: str, path: str, offset: int = 0, content: bytes = b"", about: str = "") -> int:
    return 0


class _Door:
    """SQLite's table of file functions with a watcher at the door. One for the whole process, for good."""

    def __init__(self) -> None:
        self.watcher: Watcher = _pass_by
        self.read_only = False
        self._lib = ctypes.CDLL(_sqlite3.__file__)  # finds the very library that Python's module is bound to
        self._lib.sqlite3_vfs_find.restype = c_void_p
        self._lib.sqlite3_vfs_find.argtypes = [c_void_p]
        self._lib.sqlite3_vfs_register.argtypes = [c_void_p, c_int]
        self._native = self._lib.sqlite3_vfs_find(None)
        self._vfs = (c_void_p * VFS).from_buffer_copy((c_void_p * VFS).from_address(self._native))
        self._name = ctypes.create_string_buffer(b"watched")
        self._open = _OPEN(self._vfs[X_OPEN] or 0)
        self._delete = _DELETE(self._vfs[X_DELETE] or 0)
        self._kept: list[Any] = [_OPEN(self._opened), _DELETE(self._deleted)]
        self._vfs[Z_NAME] = ctypes.addressof(self._name)
        self._vfs[X_OPEN], self._vfs[X_DELETE] = (ctypes.cast(each, c_void_p).value for each in self._kept)
        self._tables: dict[int, Any] = {}
        self._paths: dict[int, str] = {}

    def put_up(self, *, up: bool) -> None:
        """Whether connections opened from now on come through here."""
        self._lib.sqlite3_vfs_register(ctypes.addressof(self._vfs) if up else self._native, 1)

    def _opened(self, vfs: int, name: int | None, file: int, flags: int, out: int | None) -> int:
        if self.read_only:
            flags = flags & ~(OPEN_READWRITE | OPEN_CREATE) | OPEN_READONLY
        code = self._open(self._native, name, file, flags, out)
        functions = c_void_p.from_address(file)
        if code == 0 and name is not None and functions.value is not None:
            self._paths[file] = ctypes.string_at(name).decode()
            functions.value = ctypes.addressof(self._watched(functions.value))
        return int(code)

    def _watched(self, address: int) -> Any:
        """The functions of an open file, as they are at `address`, with ours in their place."""
        if address not in self._tables:
            # the first member is a number, 4 bytes wide and padded to a pointer's width
            table = (c_void_p * METHODS).from_buffer_copy((c_void_p * METHODS).from_address(address))
            write, cut, sync = (kind(table[place] or 0) for kind, place in _LED_PAST)
            ours = (_WRITE(self._writing(write)), _TRUNCATE(self._cutting(cut)), _SYNC(self._syncing(sync)))
            for (_, place), function in zip(_LED_PAST, ours, strict=True):
                table[place] = ctypes.cast(function, c_void_p).value
            self._kept.append((ours, table))
            self._tables[address] = table
        return self._tables[address]

    def _writing(self, native: Any) -> Callable[[int, int, int, int], int]:
        def write(file: int, content: int, amount: int, offset: int) -> int:
            code = self.watcher("write", self._paths[file], offset, ctypes.string_at(content, amount))
            return code or int(native(file, content, amount, offset))

        return write

    def _cutting(self, native: Any) -> Callable[[int, int], int]:
        return lambda file, size: self.watcher("cut", self._paths[file], size) or int(native(file, size))

    def _syncing(self, native: Any) -> Callable[[int, int], int]:
        return lambda file, flags: self.watcher("sync", self._paths[file]) or int(native(file, flags))

    def _deleted(self, vfs: int, name: int, sync: int) -> int:
        code = self.watcher("delete", ctypes.string_at(name).decode())
        code = code or int(self._delete(self._native, name, sync))
        if sync and not code:
            self.watcher("sync names", str(Path(ctypes.string_at(name).decode()).parent))
        return code


_door = _Door()


@contextmanager
def watched(watcher: Watcher) -> Iterator[_Door]:
    """All that is done to files meanwhile is told to `watcher` first. Switch `read_only` on what this gives."""
    _door.watcher, _door.read_only = watcher, False
    _door.put_up(up=True)
    try:
        with pytest.MonkeyPatch.context() as patch:
            _lead_past(watcher, patch)
            yield _door
    finally:
        _door.put_up(up=False)
        _door.watcher, _door.read_only = _pass_by, False


def _lead_past(watcher: Watcher, patch: pytest.MonkeyPatch) -> None:
    """What Python does to files: a text is written in pieces, the rest at once."""
    replace, unlink, write_text = os.replace, os.unlink, Path.write_text
    copyfile, fsync = shutil.copyfile, os.fsync

    def watched_text(path: Path, text: str, encoding: str = "utf-8") -> int:
        content = text.encode(encoding)
        for piece in (b"", content[: len(content) // 2], content):
            watcher("put", str(path), 0, piece)
        return write_text(path, text, encoding)

    def watched_copy(source: Path, path: Path) -> Path:
        watcher("put", str(path), 0, source.read_bytes())
        return copyfile(source, path)

    def watched_replace(path: Path, target: Path) -> None:
        watcher("rename", str(path), about=str(target))
        replace(path, target)

    def watched_unlink(path: Path, *, dir_fd: int | None = None) -> None:
        if dir_fd is None:
            watcher("delete", str(path))
        unlink(path, dir_fd=dir_fd)

    def watched_fsync(descriptor: int) -> None:
        path = os.readlink(f"/proc/self/fd/{descriptor}")
        watcher("sync names" if Path(path).is_dir() else "sync", path)
        fsync(descriptor)

    patch.setattr(Path, "write_text", watched_text)
    patch.setattr(os, "replace", watched_replace)  # pathlib's are these two as well
    patch.setattr(os, "unlink", watched_unlink)
    patch.setattr(shutil, "copyfile", watched_copy)
    patch.setattr(os, "fsync", watched_fsync)


@dataclass(slots=True)
class _File:
    """What was written, and what of it has reached the disk: `pending` has not."""

    now: bytearray = field(default_factory=bytearray)
    safe: bytearray = field(default_factory=bytearray)
    pending: list[tuple[int, bytes | None]] = field(default_factory=list)  # at offset; None: cut there

    def change(self, offset: int, content: bytes | None) -> None:
        _change(self.now, offset, content)
        self.pending.append((offset, content))

    def sync(self) -> None:
        for change in self.pending:
            _change(self.safe, *change)
        self.pending.clear()


def _change(file: bytearray, offset: int, content: bytes | None) -> None:
    if content is None:
        del file[offset:]
        return
    file.extend(bytes(max(0, offset - len(file))))
    file[offset : offset + len(content)] = content


class Images:
    """The files below one folder, by name, as steps leave them."""

    def __init__(self, folder: Path) -> None:
        self._root = str(folder) + os.sep
        self._names: dict[str, _File] = {}
        self._safe_names: dict[str, _File] = {}

    def take(self, step: Step) -> None:
        """One more step. What is not of this folder, or no file's, changes nothing."""
        if step.path.startswith(self._root) and not step.path.endswith("-shm"):
            self._ACTS.get(step.what, Images._nothing)(self, step.path.removeprefix(self._root), step)
        elif step.what == "sync names":
            self._safe_names = dict(self._names)

    def _nothing(self, name: str, step: Step) -> None:
        return

    def _write(self, name: str, step: Step) -> None:
        self._names.setdefault(name, _File()).change(step.offset, step.content)

    def _cut(self, name: str, step: Step) -> None:
        self._names.setdefault(name, _File()).change(step.offset, None)

    def _put(self, name: str, step: Step) -> None:
        self._cut(name, Step(step.at_s, "cut", offset=0))
        self._write(name, step)

    def _sync(self, name: str, step: Step) -> None:
        """SQLite syncs the folder as well when it syncs a file it has made."""
        self._names.setdefault(name, _File()).sync()
        self._safe_names[name] = self._names[name]

    def _rename(self, name: str, step: Step) -> None:
        if name in self._names:
            self._names[step.about.removeprefix(self._root)] = self._names.pop(name)

    def _delete(self, name: str, step: Step) -> None:
        self._names.pop(name, None)

    _ACTS = {  # noqa: RUF012 - never changed
        "write": _write, "cut": _cut, "put": _put, "sync": _sync, "rename": _rename, "delete": _delete,
    }  # fmt: skip

    def kept_by_kernel(self) -> dict[str, bytes]:
        """What a process that is killed leaves: all it wrote."""
        return {name: bytes(file.now) for name, file in self._names.items()}

    def without_power(self) -> dict[str, bytes]:
        """What is sure to be there: what was synced, under names that were."""
        return {name: bytes(file.safe) for name, file in self._safe_names.items()}

    def with_some(self, chance: Random) -> dict[str, bytes]:
        """What a power cut may leave: of what was not synced, some whole, some in part, some not at all."""
        names = chance.choice((self._names, self._safe_names))
        return {name: _survived(file, chance) for name, file in names.items()}


def _survived(file: _File, chance: Random) -> bytes:
    content = bytearray(file.safe)
    for offset, written in file.pending:
        whole = written is None or chance.random() < 0.5
        if whole and chance.random() < 0.5:
            _change(content, offset, written)
        elif written is not None and not whole:
            sectors = len(written) // SECTOR_BYTES
            _change(content, offset, written[: SECTOR_BYTES * chance.randint(0, sectors)])
    return bytes(content)


def lay_out(files: Mapping[str, bytes], folder: Path) -> None:
    """Make `folder` hold exactly these files."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
