"""Files, at the edge: bounded reading, writing that is whole or not at all, the matrices folder.

A file is written beside its place, flushed to disk and renamed, so that nobody ever finds
half of one. Mistakes of the operating system become `InputError`s that name the file.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping, Set
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from hailcalc.matrix import Matrix, MatrixReading, read_matrix, require_matrix
from hailcalc.problems import InputError, Problem
from hailcalc.reading import MAX_TEXT_BYTES

MAX_PDF_BYTES = 50_000_000


def read_bytes(path: Path, limit: int) -> bytes:
    """A file's bytes. Raises InputError if it cannot be read or is larger than `limit`."""
    try:
        with path.open("rb") as file:
            data = file.read(limit + 1)
            size = os.fstat(file.fileno()).st_size
    except OSError as error:
        raise InputError([Problem(str(path), (), _reason(error), "a file to read")]) from None
    if len(data) > limit:
        found = f"{max(size, len(data)):,} bytes"
        raise InputError([Problem(str(path), (), found, f"at most {limit:,}")])
    return data


def read_text(path: Path, limit: int = MAX_TEXT_BYTES) -> str:
    """A file's UTF-8 text, a byte-order mark at its head taken off. Raises InputError."""
    return text_of(read_bytes(path, limit), str(path))


def text_of(data: bytes, file: str) -> str:
    """Bytes as UTF-8 text. Raises InputError naming the first byte that is none."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"byte {data[error.start]:#04x} at position {error.start:,}"
        raise InputError([Problem(file, (), found, "UTF-8 text")]) from None


def write_all(files: Mapping[Path, bytes]) -> None:
    """Write several files: all beside their places first, then each renamed. Raises InputError.

    What stands in the way (a folder, a device, a missing folder) is found before anything is
    renamed, so that either all files are written or none.
    """
    beside: list[tuple[Path, Path]] = []
    path = Path()
    try:
        for path, data in files.items():
            _require_place(path)
            beside.append((_write_beside(path, data), path))
        while beside:
            temporary, path = beside[0]
            temporary.replace(path)
            beside.pop(0)
            _sync_folder(path.parent)
    except OSError as error:
        raise InputError([Problem(str(path), (), _reason(error), "a place to write")]) from None
    finally:
        for temporary, _ in beside:
            temporary.unlink(missing_ok=True)


@contextmanager
def written_beside(path: Path) -> Iterator[BinaryIO]:
    """A file to write to piece by piece: it has its name once the block ends, and not before.

    Raises InputError for what stands in the way; nothing is left if the block raises.
    """
    _require_place(path)
    try:
        handle, name = tempfile.mkstemp(prefix=".hailcalc-", dir=path.parent)
    except OSError as error:
        raise InputError([Problem(str(path), (), _reason(error), "a place to write")]) from None
    temporary = Path(name)
    try:
        with os.fdopen(handle, "w+b") as file:
            yield file
            file.flush()
            os.fchmod(file.fileno(), 0o666 & ~_umask())
            os.fsync(file.fileno())
        temporary.replace(path)
        _sync_folder(path.parent)
    except OSError as error:
        raise InputError([Problem(str(path), (), _reason(error), "a place to write")]) from None
    finally:
        temporary.unlink(missing_ok=True)


def write_new(files: Mapping[Path, bytes], secret: Set[Path] = frozenset()) -> None:
    """Write files that must not exist yet; those in `secret` are for their owner alone.

    Each is linked into its place from beside it, which fails if the name is taken. Raises
    InputError, and then leaves none of them.
    """
    taken = [path for path in files if os.path.lexists(path)]
    if taken:
        expected = "another name: nothing is written over"
        raise InputError(
            [Problem(str(path), (), "a file there already", expected) for path in taken]
        )
    beside: list[tuple[Path, Path]] = []
    placed: list[Path] = []
    path = Path()
    try:
        for path, data in files.items():
            beside.append((_write_beside(path, data, 0o600 if path in secret else 0o666), path))
        for temporary, path in beside:
            path.hardlink_to(temporary)
            placed.append(path)
            _sync_folder(path.parent)
    except OSError as error:
        for each in placed:
            each.unlink(missing_ok=True)
        raise InputError([Problem(str(path), (), _reason(error), "a place to write")]) from None
    finally:
        for temporary, _ in beside:
            temporary.unlink(missing_ok=True)


def _require_place(path: Path) -> None:
    """Raise InputError if something other than a plain file has the name already."""
    if path.exists() and not path.is_file():
        found = "is a directory" if path.is_dir() else "no plain file"
        raise InputError([Problem(str(path), (), found, "a place to write a file")])


def _write_beside(path: Path, data: bytes, mode: int = 0o666) -> Path:
    """Write to a new hidden file in the same folder, flushed to disk."""
    handle, name = tempfile.mkstemp(prefix=".hailcalc-", dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fchmod(file.fileno(), mode & ~_umask())
            os.fsync(file.fileno())
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def shipped(*names: str) -> Path:
    """A folder that travels with hailcalc: beside the code in a checkout, inside it in a wheel."""
    package = Path(__file__).parent
    inside = package.joinpath("shipped", *names)
    return inside if inside.exists() else package.parent.joinpath(*names)


def matrices_folder() -> Path:
    """Where names are looked up: $HAILCALC_MATRICES, else ./matrices, else the shipped ones."""
    named = os.environ.get("HAILCALC_MATRICES")
    if named:
        return Path(named)
    here = Path("matrices")
    return here if here.is_dir() else shipped("matrices")


def matrix_files(folder: Path) -> list[Path]:
    """The matrix files of a folder by name."""
    return sorted(folder.glob("*.toml"))


def read_matrix_file(path: Path) -> MatrixReading:
    """One matrix file, read; a broken one comes with its problems."""
    try:
        return read_matrix(read_text(path), str(path), path.stem)
    except InputError as error:
        return MatrixReading(None, error.problems)


def load_matrix(path: Path) -> Matrix:
    """One matrix file. Raises InputError with every mistake in it."""
    return require_matrix(read_matrix_file(path))


def read_matrices(folder: Path) -> Iterator[tuple[Path, MatrixReading]]:
    """Every matrix file of a folder, read."""
    for path in matrix_files(folder):
        yield path, read_matrix_file(path)


def matrix_by_name(name: str, folder: Path) -> Matrix:
    """The matrix called `name` in a folder. Raises InputError listing those that are there."""
    path = folder / f"{name}.toml"
    known = [file.stem for file in matrix_files(folder)]
    if name not in known:
        listed = ", ".join(known) or "no matrix at all"
        raise InputError(
            [Problem(str(folder), (), f'no matrix "{name}"', f"one of those there: {listed}")]
        )
    return load_matrix(path)
