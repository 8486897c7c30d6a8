"""The book itself: open it, add to it, look things up; each method is one transaction."""

import copy
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine, func, select

from dyebook.book import life, rows
from dyebook.book.backup import find_problems, read_backup, write_backup
from dyebook.book.batches import (
    BatchRow,
    Found,
    Names,
    add_dip,
    batch_query,
    batch_rows,
    correct_batch,
    newest_page,
    with_filters,
)
from dyebook.book.connect import Place, clear_errors, find_place, make_engine, unsure_errors
from dyebook.book.people import PEOPLE, Who, refuse_unless
from dyebook.book.photos import DiskPhotos, RemotePhotos, open_photos, photo_bytes, photo_name
from dyebook.book.readings import all_readings, measured_values, refuse_twice, typed_values
from dyebook.book.schema import Batch, BathEvent, Change, Dip, Photo, Reading, Setting
from dyebook.book.search import Shades
from dyebook.book.versions import bring_up_to_date
from dyebook.errors import BookError
from dyebook.record import SHOP_SETTINGS, DyeRecord, Measurement, check_setting

__all__ = ["Book", "Found", "open_book"]

# taken back in the ordinary course of a day's work; deleting anything else is for owners
_MAKERS_DELETE = ("preparations", "runs", "verdicts")


def open_book(path_or_url=None, photos=None, who: str | None = None) -> "Book":
    """Open the book, making it when there is none and bringing an older one up to date after a copy was kept.

    `path_or_url` and `photos` as in `dyebook.book.connect.find_place`. `who` is the name for the history;
    ``DYEBOOK_WHO`` or the user of this machine without it. BookError if it cannot be opened, is no book, or was written
    by a newer version.
    """
    place = find_place(path_or_url, photos)
    with clear_errors(place):
        engine = make_engine(place)
        bring_up_to_date(engine, place)
    return Book(engine, place, who or rows.who_am_i())


class Book:
    """An open book; made by `open_book`, usable as a context manager."""

    def __init__(self, engine: Engine, place: Place, who: str):
        self._engine = engine
        self._writer = engine.execution_options(writes=True)
        self._shades = Shades()
        self._role = lambda: "owner"
        self.place = place
        self.who = who

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self) -> None:
        """Let go of the file or server."""
        self._engine.dispose()

    def seen_by(self, who: Who, role_now: Callable[[], str | None] | None = None) -> "Book":
        """Return this open book in the hands of one person, whose name goes into its history.

        `role_now` gives the person's role at the moment of a write, None for no role any more; `who.role` without it.
        """
        seen = copy.copy(self)
        seen.who, seen._role = who.name, role_now or (lambda: who.role)
        return seen

    def must_be(self, role: str) -> None:
        """Raise `BookError` unless the person at this book has the role, one of `dyebook.book.people.ROLES`."""
        refuse_unless(self._role(), role, self.who)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Yield a connection that sees the book as it is at one moment."""
        with clear_errors(self.place), self._engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Yield a connection whose changes are safe on disk once the block ends, or undone if it raises.

        BookError before anything else, if a reader holds the book; UnsureError if a server goes away while it keeps the
        changes.
        """
        self.must_be("maker")
        with clear_errors(self.place), self._writer.begin() as connection:
            yield connection
            with unsure_errors(self.place):
                connection.commit()

    # rows of any table

    def add(self, table: str, **values) -> int:
        """Add a row to any table of `dyebook.book.schema.TABLES` and return its number."""
        with self.writing() as connection:
            return rows.add_row(connection, rows.table_named(table), values, self.who)

    def rows(self, table: str, deleted: bool = False, **where) -> list[dict]:
        """Return rows of any table, oldest first, where columns have the given values."""
        with self.reading() as connection:
            return rows.list_rows(connection, rows.table_named(table), deleted, **where)

    def row(self, table: str, row_id: int) -> dict:
        """Return one row of any table, deleted or not; BookError if it was never there."""
        with self.reading() as connection:
            return rows.row_of(connection, rows.table_named(table), row_id)

    def correct(self, table: str, row_id: int, changes: dict, version: int | None = None) -> int:
        """Correct columns of one row, keeping the old values in the history; return the row's new version.

        With `version`, the one that was looked at, the correction is refused if the row has moved on since.
        """
        with self.writing() as connection:
            return rows.correct_row(connection, rows.table_named(table), row_id, changes, version, self.who)

    def delete(self, table: str, row_id: int, version: int | None = None) -> int:
        """Mark a row as deleted and return its new version; `undelete` brings it back. Mostly for owners."""
        return self._mark(table, row_id, True, version)

    def undelete(self, table: str, row_id: int, version: int | None = None) -> int:
        """Bring back a row that was marked as deleted; return its new version. As `delete`, mostly for owners."""
        return self._mark(table, row_id, False, version)

    def _mark(self, table, row_id, deleted, version):
        self._may_delete(table)
        with self.writing() as connection:
            return rows.mark_deleted(connection, rows.table_named(table), row_id, deleted, version, self.who)

    def _may_delete(self, table):
        if table not in _MAKERS_DELETE:
            self.must_be("owner")

    def undo(self, table: str, row_id: int) -> int:
        """Take back the last change of a row that has not been taken back yet; return its new version."""
        with self.writing() as connection:
            if rows.last_was_deletion(connection, rows.table_named(table), row_id):
                self._may_delete(table)
            return rows.undo_last(connection, rows.table_named(table), row_id, self.who)

    def history(self, table: str | None = None, row_id: int | None = None) -> list[dict]:
        """Return who changed what, when, from which values to which, oldest first."""
        with self.reading() as connection:
            return rows.history_of(connection, table, row_id)

    def edition(self) -> tuple:
        """Return a mark that changes whenever a dip, a reading, a bath's event or a correction comes in; cheap."""
        columns = [func.max(table.id) for table in (Dip, Reading, BathEvent, Change)]
        moments = [func.max(moment) for moment in (Dip.added_at, Reading.added_at, BathEvent.added_at, Change.at)]
        with self.reading() as connection:
            return tuple(connection.execute(select(column)).scalar() for column in (*columns, *moments))

    # settings

    def setting(self, key: str, default=None):
        """Return a setting, any JSON value; one of `SHOP_SETTINGS` that was not set has its own default."""
        with self.reading() as connection:
            found = connection.execute(select(Setting.value).where(Setting.key == key)).first()
        if found is not None and found[0] is not None:
            return found[0]
        return SHOP_SETTINGS[key].default if default is None and key in SHOP_SETTINGS else default

    def settings(self) -> dict:
        """Return all settings by their keys."""
        with self.reading() as connection:
            return {row.key: row.value for row in connection.execute(select(Setting.key, Setting.value))}

    def set_setting(self, key: str, value, was=...) -> None:
        """Keep a setting, any JSON value; the old one goes into the history.

        With `was`, the value that was looked at, it is refused if another has been kept since.

        Those of the shop are for owners, RecordError says what is wrong with one of them, and a new place of the photos
        must hold those the book has.
        """
        if key == PEOPLE or key in SHOP_SETTINGS:
            self.must_be("owner")
        if key in SHOP_SETTINGS:
            value = check_setting(key, value)
        if key == "photos":
            self._check_place_of_photos(value)
        table = Setting.__table__
        with self.writing() as connection:
            old = connection.execute(select(table.c.value).where(table.c.key == key)).first()
            before = {key: old[0] if old else None}
            if was is not ... and (was or None) != (before[key] or None):
                raise BookError(
                    f"{key.replace('_', ' ')}: changed by another person after you opened it; nothing was overwritten; "
                    f"{rows.both_values(before, {key: value})}look at it again and repeat your change"
                )
            if old is None:
                connection.execute(table.insert().values(key=key, value=value))
            else:
                connection.execute(table.update().where(table.c.key == key).values(value=value))
            rows.note_change(connection, "settings", None, "setting", before, {key: value}, self.who)

    def _check_place_of_photos(self, place):
        if self.place.photos:
            raise BookError(
                f"the photos of this book are in {self.place.photos}; only a book on a server whose stations are not "
                "given DYEBOOK_PHOTOS takes this setting"
            )
        with self.reading() as connection:
            shas = connection.execute(select(Photo.sha256).distinct()).scalars().all()
        missing = {photo_name(sha) for sha in shas} - set(open_photos(place).names()) if shas and place else ()
        if missing:
            raise BookError(f"{len(missing)} of the {len(shas)} photos are not in {place}; copy them there first")

    # batches, readings and photos

    def add_batch(
        self,
        record: DyeRecord,
        photo=None,
        measurement: Measurement | None = None,
        part_index: int | None = 0,
        replaces_id: int | None = None,
        run: dict | None = None,
        geometry: str | None = None,
    ) -> int:
        """Add one batch, safely on disk on return, and return its number.

        Parameters
        ----------
        record
            Settings, and readings where there are any already.
        photo : path or bytes, optional
            Kept as it is, by its SHA-256.
        measurement
            What was read from the photo.
        part_index
            Which of its parts this batch is; None for all of them.
        replaces_id
            The batch that was stripped and is done again by this one.
        run
            Further columns of its run, such as `charge_ah` and `trace`.
        geometry
            Of the instrument that gave the record's own readings, one of `dyebook.record.GEOMETRIES`.
        """
        with self.keeping(photo) as kept, self.writing() as connection:
            names = Names(connection, self.who)
            batch_id = add_dip(connection, record, names, self.who, run, replaces_id=replaces_id)
            own = {"batch_id": batch_id, "wet": record.wet, "sealed": record.sealed}
            own["photo_id"] = self.add_photo_row(connection, batch_id, kept)
            for values in all_readings(record, measurement, part_index, geometry):
                rows.add_row(connection, Reading.__table__, own | values, self.who)
        return batch_id

    def add_reading(
        self, batch_id: int, lab=None, measurement: Measurement | None = None, part_index: int = 0, photo=None, **values
    ) -> int:
        """Add a reading to a batch and return its number: a Lab value as typed or from an instrument, or a part's.

        BookError if the batch has a reading of this part of the same file: once more would make it seem surer than it
        is.

        Parameters
        ----------
        lab : array_like, shape (3,), optional
            L*, a*, b* under D65, 2-degree observer.
        measurement, part_index
            What was read from a photo, and which of its parts.
        photo : path or bytes, optional
        **values
            Further columns of `dyebook.book.schema.Reading`, such as `wet`, `sealed`, `L_sd`, `source`.
        """
        if (lab is None) == (measurement is None):
            raise ValueError("give either lab or measurement")
        seen = measured_values(measurement, part_index) if lab is None else typed_values(lab)
        with self.keeping(photo) as kept, self.writing() as connection:
            rows.row_of(connection, Batch.__table__, batch_id)
            if kept is not None:
                values["photo_id"] = self.add_photo_row(connection, batch_id, kept)
                refuse_twice(connection, batch_id, values["photo_id"], seen.get("part_index"))
            return rows.add_row(connection, Reading.__table__, {"batch_id": batch_id, **seen, **values}, self.who)

    def add_photo(self, photo, batch_id: int | None = None) -> str:
        """Keep a photo (path or bytes), with a batch where one is given, and return its SHA-256."""
        with self.keeping(photo) as kept, self.writing() as connection:
            self.add_photo_row(connection, batch_id, kept)
        return kept["sha256"]

    @contextmanager
    def keeping(self, photo, name: str | None = None) -> Iterator[dict | None]:
        """Store a photo around the transaction that writes its row; yield the row's columns, None without a photo."""
        self.must_be("maker")
        if photo is None:
            yield None
            return
        content, own_name = photo_bytes(photo)
        with clear_errors(self.place), self.photos.keeping(content) as sha:
            yield {"sha256": sha, "name": name or own_name, "size_bytes": len(content)}

    def add_photo_row(self, connection: Connection, batch_id: int | None, kept: dict | None) -> int | None:
        """Return the number of the row of what `keeping` yields, added unless this batch has that photo already."""
        if kept is None:
            return None
        table = Photo.__table__
        same = (table.c.sha256 == kept["sha256"], table.c.batch_id == batch_id)
        found = connection.execute(select(table.c.id).where(*same)).scalar()
        return found or rows.add_row(connection, table, {"batch_id": batch_id, **kept}, self.who)

    @property
    def photos(self) -> DiskPhotos | RemotePhotos:
        """The keeper of photos; BookError where no place is set for them."""
        keeper = self._photos_or_none()
        if keeper is None:
            raise BookError("no place is set for the photos; give a folder or URL as DYEBOOK_PHOTOS, or set it once")
        return keeper

    def _photos_or_none(self):
        place = self.place.photos or self.setting("photos")
        return open_photos(place) if place else None

    def photo_bytes(self, sha: str) -> bytes:
        """Return the bytes of a photo, exactly as they were given."""
        return self.photos.read(sha)

    def correct_batch(self, batch_id: int, changes: dict, version: int | None = None) -> int:
        """Correct settings of a batch by their names in `FIELDS`; return its new version.

        With `version`, the one that was looked at, the correction is refused if the batch has moved on since.
        """
        with self.writing() as connection:
            return correct_batch(connection, batch_id, changes, Names(connection, self.who), version, self.who)

    # looking up

    def batches(self, count: int | None = None, offset: int = 0, **filters) -> list[BatchRow]:
        """Return batches, newest first: `count` at most, or all, without the `offset` newest.

        `filters`: `dye`, `bath`, `alloy`, `order`, `text`, `since`, `until` (ISO dates), `deleted`, `ids`.
        """
        with self.reading() as connection:
            if count is not None and not any(filters.values()):
                return batch_rows(connection, newest_page(), count=count, offset=offset)
            query = with_filters(batch_query(), **filters).order_by(Batch.id.desc()).offset(offset)
            return batch_rows(connection, query.limit(count) if count is not None else query)

    def batch(self, batch_id: int) -> BatchRow:
        """Return one batch, deleted or not; BookError if it was never there."""
        query = batch_query().where(Batch.id == batch_id)
        with self.reading() as connection:
            found = batch_rows(connection, query)
        if not found:
            raise BookError(f"there is no batch {batch_id} in this book; look which there are")
        return found[0]

    def find(self, lab=None, count: int = 20, **filters) -> list[Found]:
        """Return the batches nearest in colour, or, without a colour, the newest that match.

        `lab` (3,): L*, a*, b* to look for; nearest first by CIEDE2000, each batch once, by its nearest reading.
        `**filters`: as in `batches`.
        """
        if lab is None:
            return [Found(row, None) for row in self.batches(count, **filters)]
        with self.reading() as connection:
            allowed = None
            if any(value is not None for value in filters.values()):
                query = with_filters(batch_query().with_only_columns(Batch.id), **filters)
                allowed = connection.execute(query).scalars().all()
            near = self._shades.column(connection).nearest(lab, count, allowed)
            query = with_filters(batch_query(), ids=[key for key, _ in near])
            by_number = {row.batch: row for row in batch_rows(connection, query)}
        return [Found(by_number[key], difference) for key, difference in near if key in by_number]

    def batch_history(self, batch_id: int) -> list[dict]:
        """Return every change of a batch and of all that hangs on it, see `dyebook.book.life.batch_history`."""
        with self.reading() as connection:
            return life.batch_history(connection, batch_id)

    def bath_life(self, bath_id: int) -> dict:
        """Return the life of a bath since it was made up, see `dyebook.book.life.bath_life`."""
        with self.reading() as connection:
            return life.bath_life(connection, bath_id)

    def electrolyte_life(self, electrolyte_id: int) -> dict:
        """Return the life of an electrolyte since it was made up, see `dyebook.book.life.electrolyte_life`."""
        with self.reading() as connection:
            return life.electrolyte_life(connection, electrolyte_id)

    def frame(self, **filters):
        """Return what was set and read as a table ready for `learn_bath`, see `dyebook.book.frame.make_frame`."""
        from dyebook.book.frame import make_frame

        with self.reading() as connection:
            return make_frame(connection, **filters)

    # the whole book

    def check(self) -> list[str]:
        """Return what is wrong with the book, in words; an empty list when all is well."""
        keeper = self._photos_or_none()
        with self.reading() as connection:
            return find_problems(connection, keeper)

    def import_file(self, file, dry_run: bool = False, duplicates: str = "refuse", progress=None, **options):
        """Import records or instrument readings, all or nothing, see `dyebook.book.exchange.instrument.import_any`."""
        from dyebook.book.exchange.instrument import import_any

        return import_any(self, file, dry_run, duplicates, progress, **options)

    def export_file(self, file, **filters) -> int:
        """Write batches as a table and return its rows' number, see `dyebook.book.exchange.export.export_records`."""
        from dyebook.book.exchange.export import export_records

        return export_records(self, file, **filters)

    def back_up(self, file) -> dict:
        """Write the whole book into one zip file, see `dyebook.book.backup.write_backup`."""
        with clear_errors(self.place):
            return write_backup(self, file)

    def restore(self, file) -> dict:
        """Replace the whole book by a verified backup, see `dyebook.book.backup.read_backup`."""
        with clear_errors(self.place):
            return read_backup(self, file)
