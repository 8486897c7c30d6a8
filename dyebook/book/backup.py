"""The whole book in one zip file and back again, and whether a book still holds what it was given.

A backup is a consistent snapshot taken while the book is in use, its photos, and a list of hashes. From a server too
the snapshot is an SQLite file, so a backup also carries a book from one kind of database to the other. Restoring
verifies everything first, then replaces the rows in one transaction. The check looks, and never changes a row.
"""

import hashlib
import json
import math
import shutil
import sqlite3
import tempfile
import zipfile
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, func, select, text
from sqlalchemy.exc import DBAPIError

from dyebook.book.connect import clear_errors, find_place, make_engine, sqlite_engine
from dyebook.book.photos import is_sha, photo_name
from dyebook.book.rows import checked_values, note_change
from dyebook.book.schema import TABLES, Base, Change, Photo, now
from dyebook.book.versions import bring_up_to_date, copy_rows, copy_server, copy_sqlite, kept_beside
from dyebook.errors import BookError, RecordError
from dyebook.record import FIELDS
from dyebook.safe_file import is_database, replacing
from dyebook.version import __version__

__all__ = ["find_problems", "read_backup", "write_backup"]

_MANIFEST, _SNAPSHOT = "manifest.json", "book.sqlite"
_LARGEST_MANIFEST = 2**28
_SPARE_BYTES = 2**30
_ROWS_AT_ONCE = 1000


def write_backup(book, file: Path) -> dict:
    """Write the book, which others may use meanwhile, and its photos into one zip file.

    Return ``{"batches": int, "photos": int, "bytes": int}``. The file appears under its name only when it is complete;
    an older file of that name is replaced then. BookError if the book is damaged, or a photo is missing or was altered:
    a backup must not look whole when it is not. The older file stays then.
    """
    file = Path(file)
    if file.suffix.lower() != ".zip":
        raise BookError(f"{file.name} is to hold a backup, which is a zip file; name a file that ends in .zip")
    with replacing(file) as part, tempfile.TemporaryDirectory(dir=file.parent, prefix=".backup-") as folder:
        counts = _write_zip(book, part, Path(folder) / _SNAPSHOT)
    return {**counts, "bytes": file.stat().st_size}


def _write_zip(book, part, copy):
    _snapshot(book, copy)
    if damage := _damage(copy):
        raise BookError(
            f"the book {book.place.name} is damaged ({damage}); no backup was written, and older ones stay as they "
            "are; save what can still be read with: dyebook check --salvage FOLDER, or restore the last backup"
        )
    shas, batches = _contents(copy)
    hashes = {_SNAPSHOT: _hash_of(copy)}
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.write(copy, _SNAPSHOT)
        for sha in shas:
            content = book.photos.read(sha)
            if hashlib.sha256(content).hexdigest() != sha:
                raise BookError(f"photo {sha[:12]}… was altered after it was stored; run the check command first")
            # phones' photos are compressed already
            archive.writestr(f"photos/{photo_name(sha)}", content, zipfile.ZIP_STORED)
            hashes[f"photos/{photo_name(sha)}"] = sha
        manifest = {"kind": "dyebook backup", "dyebook": __version__, "made_at": now(), "sha256": hashes}
        archive.writestr(_MANIFEST, json.dumps(manifest, indent=1))
    _read_again(part, hashes)
    return {"batches": batches, "photos": len(shas)}


def _damage(copy):
    """What is wrong with a snapshot's pages, pointers or rows, in a few words; None where every row can be read."""
    with sqlite_engine(copy).connect() as connection:
        try:
            found = connection.execute(text("PRAGMA integrity_check(1)")).scalar()
            if found != "ok":
                return " ".join(found.split())
            for table in Base.metadata.sorted_tables:
                for _ in connection.execute(select(table).execution_options(yield_per=_ROWS_AT_ONCE)):
                    pass
        except (DBAPIError, ValueError, LookupError) as fault:
            return str(getattr(fault, "orig", None) or fault)
    return None


def _read_again(part, hashes):
    """See that what the disk now holds is what was written."""
    with zipfile.ZipFile(part) as archive:
        for name, sha in hashes.items():
            with archive.open(name) as file:
                if hashlib.file_digest(file, "sha256").hexdigest() != sha:
                    raise BookError(f"{name} came back altered from the disk; no backup was written; use another disk")


def _contents(copy):
    with closing(sqlite3.connect(copy)) as connection:
        shas = [sha for (sha,) in connection.execute("SELECT DISTINCT sha256 FROM photos ORDER BY sha256")]
        (batches,) = connection.execute("SELECT count(*) FROM batches").fetchone()
    return shas, batches


def _hash_of(path):
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _snapshot(book, target):
    """Write the book's rows, as they are at one moment, to the new SQLite file `target`."""
    if book.place.file is not None:
        copy_sqlite(book.place.file, target)
        return
    with book.reading() as connection:
        connection.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ"))
        copy_server(connection, target)


def read_backup(book, file: Path) -> dict:
    """Replace the whole book by a backup, or by a copy of the rows set aside beside it, once all of it is verified.

    What the book held is saved beside it first; photos that it has already stay. Return ``{"batches": int, "photos":
    int, "saved": str or None}``; `saved` is the backup of what was replaced, None if the book was empty. BookError if
    the file is no backup, incomplete, altered, or dangerous to unpack, or the one who asks is no owner; the book is
    untouched then.
    """
    book.must_be("owner")
    with tempfile.TemporaryDirectory(prefix="dyebook-") as folder:
        copy = Path(folder) / _SNAPSHOT
        if is_database(Path(file)):  # what an earlier restore, or a new version, set aside
            copy_sqlite(Path(file), copy)
            shas = []
        else:
            shas = _unpack_verified(Path(file), Path(folder))
        _bring_copy_up_to_date(copy)
        saved = _save_old(book)
        for sha in shas:
            content = (Path(folder) / "photos" / photo_name(sha)).read_bytes()
            with book.photos.keeping(content):
                pass
        _replace_rows(book, copy, Path(file).name)
        return {"batches": _contents(copy)[1], "photos": len(shas), "saved": saved}


def _unpack_verified(file, folder):
    """Unpack a backup whose every file is listed and has its listed hash; return the photos' SHA-256."""
    try:
        with zipfile.ZipFile(file) as archive:
            hashes = _manifest_of(archive, file)
            _refuse_bombs(archive, file, folder)
            for name, sha in hashes.items():
                _unpack_one(archive, name, sha, folder, file)
    except (zipfile.BadZipFile, OSError, EOFError) as error:
        raise BookError(
            f"{file} cannot be read as a backup ({error}); give a file that the backup command made"
        ) from None
    return [sha for name, sha in hashes.items() if name != _SNAPSHOT]


def _manifest_of(archive, file):
    names = archive.namelist()
    if _MANIFEST not in names or archive.getinfo(_MANIFEST).file_size > _LARGEST_MANIFEST:
        raise BookError(f"{file} has no list of its contents; give a file that the backup command made")
    try:
        manifest = json.loads(archive.read(_MANIFEST))
        hashes = dict(manifest["sha256"])
    except (ValueError, KeyError, TypeError):
        raise BookError(f"the list of contents of {file} cannot be read; take an older backup") from None
    # the only names there can be are ours, so nothing can be unpacked outside the folder
    legal = {_SNAPSHOT} | {f"photos/{photo_name(sha)}" for sha in hashes.values() if is_sha(sha)}
    wrong = (set(names) ^ set(hashes)) - {_MANIFEST} or set(hashes) - legal
    if wrong or len(names) != len(set(names)) or _SNAPSHOT not in hashes:
        raise BookError(
            f"{file} holds other files than its list says ({min(wrong, default='twice')}); take an older backup"
        )
    return hashes


def _refuse_bombs(archive, file, folder):
    total = sum(info.file_size for info in archive.infolist())
    room = shutil.disk_usage(folder).free
    if total > room:
        raise BookError(f"{file} unpacks to {total / 1e9:.1f} GB, and {room / 1e9:.1f} GB are free; free some space")
    if total > 200 * file.stat().st_size + _SPARE_BYTES:
        raise BookError(
            f"{file} unpacks to {total / 1e9:.1f} GB, far more than a backup of its size; it was not unpacked"
        )


def _unpack_one(archive, name, sha, folder, file):
    target = folder / name
    target.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(name) as source, target.open("wb") as out:
        shutil.copyfileobj(source, out)
    if _hash_of(target) != sha:
        raise BookError(f"{name} in {file} was altered; nothing was restored; take an older backup")


def _bring_copy_up_to_date(copy):
    """Check the unpacked snapshot, and migrate it when an older version wrote it."""
    place = find_place(copy)
    engine = make_engine(place)
    with clear_errors(place):
        bring_up_to_date(engine, place)
        with engine.connect() as connection:
            sound = connection.execute(text("PRAGMA integrity_check")).scalar() == "ok"
            dangling = connection.execute(text("PRAGMA foreign_key_check")).first()
        engine.dispose()
    if not sound or dangling:
        raise BookError("the snapshot in the backup is damaged; nothing was restored; take an older backup")


def _save_old(book):
    """Keep what is about to be replaced: the snapshot of its rows (its photos stay where they are)."""
    if not book.batches(1) and not book.history():
        return None
    saved = kept_beside(book.place, "book-before-restore")
    _snapshot(book, saved)
    return str(saved)


def _replace_rows(book, copy, name):
    """Put the snapshot's rows in place of the book's, all in one transaction."""
    tables = Base.metadata.sorted_tables
    with closing(sqlite_engine(copy).connect()) as source, book.writing() as connection:
        for table in reversed(tables):
            connection.execute(table.delete())
        for table in tables:
            copy_rows(source, table, connection, table)
        if connection.dialect.name == "postgresql":
            _continue_numbering(connection, tables)
        note_change(connection, "book", None, "restore", {}, {"restored_from": name}, book.who)


def _continue_numbering(connection, tables):
    for table in tables:
        if "id" in table.c:
            following = select(func.coalesce(func.max(table.c.id), 0) + 1).scalar_subquery()
            connection.execute(select(func.setval(func.pg_get_serial_sequence(table.name, "id"), following, False)))


_MOST_PER_KIND = 20


def find_problems(connection: Connection, photos) -> list[str]:
    """Return what is wrong with the book, in words; an empty list when all is well.

    That is damage to the file, rows that point nowhere, values out of range, photos missing, altered or unknown.
    `connection`: sqlalchemy.Connection. `photos` (DiskPhotos or RemotePhotos, or None): None when no place is set for
    them.
    """
    problems = _integrity(connection)
    for table in TABLES.values():
        problems += _shortened(_bad_values(connection, table))
        problems += _shortened(_dangling(connection, table))
    return problems + _shortened(_photo_problems(connection, photos))


def _shortened(problems):
    problems = list(problems)
    more = len(problems) - _MOST_PER_KIND
    return problems if more <= 0 else [*problems[:_MOST_PER_KIND], f"and {more} more of this kind"]


def _integrity(connection):
    if connection.dialect.name != "sqlite":
        return []
    found = connection.execute(text("PRAGMA integrity_check")).scalars().all()
    return [] if found == ["ok"] else [f"the file is damaged: {line}" for line in found[:_MOST_PER_KIND]]


def _dangling(connection, table):
    """Rows that point to rows which are not there."""
    for key in table.foreign_keys:
        there = key.column.table.alias()
        query = (
            select(table.c.id, key.parent)
            .outerjoin(there, there.c.id == key.parent)
            .where(key.parent.is_not(None), there.c.id.is_(None))
        )
        for row_id, missing in connection.execute(query):
            yield f"{table.name} {row_id}: {key.parent.name} {missing} does not exist"


def _bad_values(connection, table):
    checked = [column for column in table.c if _has_rule(column)]
    if not checked:
        return
    for row in connection.execute(select(table.c.id, *checked)):
        for column, value in zip(checked, row[1:], strict=True):
            try:
                if isinstance(value, float) and not math.isfinite(value):
                    raise RecordError(f"{column.name} is {value}")
                checked_values(table, {column.name: value})
            except RecordError as error:
                yield f"{table.name} {row[0]}: {error}"


def _has_rule(column):
    numeric = column.name in FIELDS and FIELDS[column.name].kind is float
    return numeric or bool({"between", "one_of", "moment"} & column.info.keys())


def _photo_problems(connection, photos):
    known = {row.sha256: row.name for row in connection.execute(select(Photo.sha256, Photo.name))}
    if photos is None:
        if known:
            yield f"{len(known)} photos are in the book, but no place is set for them; give it as DYEBOOK_PHOTOS"
        return
    photos.settle_known(known)
    for sha, name in known.items():
        yield from _one_photo(photos, sha, name)
    if connection.execute(select(Change.id).where(Change.action == "restore").limit(1)).first():
        return  # photos of the book that a restore replaced stay, for the copy that was set aside
    expected = {photo_name(sha) for sha in known if is_sha(sha)}
    for name in photos.names():
        if name not in expected:
            yield f"the file {name} in {photos} belongs to no photo of the book"


def _one_photo(photos, sha, name):
    try:
        content = photos.read(sha)
    except (BookError, OSError) as error:
        yield f"photo {name or sha[:12]}: {error}"
        return
    if hashlib.sha256(content).hexdigest() != sha:
        yield f"photo {name or sha[:12]} was altered after it was stored; restore it from a backup"
