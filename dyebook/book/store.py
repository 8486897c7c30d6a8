"""The book itself: open it, add to it, look things up; each method is one transaction."""

from contextlib import contextmanager

from sqlalchemy import select

from dyebook.book import batches, rows
from dyebook.book.backup import find_problems
from dyebook.book.batches import Found, batch_query, batch_rows, with_filters
from dyebook.book.connect import clear_errors, find_place, make_engine
from dyebook.book.photos import open_photos, photo_bytes, photo_name
from dyebook.book.readings import all_readings, measured_values, typed_values
from dyebook.book.schema import Batch, Photo, Reading
from dyebook.book.search import Shades
from dyebook.book.tables import Names, Tables
from dyebook.book.versions import bring_up_to_date
from dyebook.errors import BookError
from dyebook.record import check_setting

__all__ = ["Book", "Found", "open_book"]


def open_book(path_or_url=None, photos=None, who=None):
    """Open the book, making it when there is none and bringing an older one up to date after a backup.

    Parameters
    ----------
    path_or_url : str or Path, optional
        Folder, ``.sqlite`` file or ``postgresql://`` URL, see `dyebook.book.connect.find_place`.
    photos : str or Path, optional
        Folder or fsspec URL of the photos; beside the file without it.
    who : str, optional
        Name for the history; ``DYEBOOK_WHO`` or the user of this machine without it.

    Returns
    -------
    Book

    Raises
    ------
    BookError
        If it cannot be opened, is no book, or was written by a newer version.
    """
    place = find_place(path_or_url, photos)
    with clear_errors(place):
        engine = make_engine(place)
        bring_up_to_date(engine, place)
    return Book(engine, place, who or rows.who_am_i())


class Book(Tables):
    """An open book; made by `open_book`, usable as a context manager."""

    def __init__(self, engine, place, who):
        super().__init__(engine, place, who)
        self._shades = Shades()

    def add_batch(self, record, photo=None, measurement=None, part_index=0, replaces_id=None, run=None):
        """Add one batch, safely on disk on return.

        Parameters
        ----------
        record : dyebook.record.DyeRecord
            Settings, and readings where there are any already.
        photo : path or bytes, optional
            Kept as it is, by its SHA-256.
        measurement : dyebook.record.Measurement, optional
            What the photo told.
        part_index : int or None
            Which of its parts this batch is; None for all of them.
        replaces_id : int, optional
            The batch that was stripped and is done again by this one.
        run : dict, optional
            Further columns of its run, such as `charge_ah` and `trace`.

        Returns
        -------
        int
            The batch's number.
        """
        content, name = photo_bytes(photo) if photo is not None else (None, None)
        with self._keeping(content) as sha, self.writing() as connection:
            names = Names(connection, self.who)
            batch_id = batches.add_dip(connection, record, names, self.who, run, replaces_id=replaces_id)
            photo_id = self._add_photo_row(connection, batch_id, sha, name, content) if sha else None
            state = {"batch_id": batch_id, "wet": record.wet, "sealed": record.sealed}
            for values in all_readings(record, measurement, part_index):
                self._add_reading_row(connection, {**state, "photo_id": photo_id, **values})
        return batch_id

    def add_reading(self, batch_id, lab=None, measurement=None, part_index=0, photo=None, **values):
        """Add a reading to a batch: a Lab value as typed or from an instrument, or what a photo told.

        Parameters
        ----------
        batch_id : int
        lab : array_like, shape (3,), optional
            L*, a*, b* under D65, 2-degree observer.
        measurement : dyebook.record.Measurement, optional
        part_index : int
        photo : path or bytes, optional
        **values
            Further columns of `dyebook.book.schema.Reading`, such as `wet`, `sealed`, `L_sd`, `source`.

        Returns
        -------
        int
            The reading's number.
        """
        content, name = photo_bytes(photo) if photo is not None else (None, None)
        if (lab is None) == (measurement is None):
            raise ValueError("give either lab or measurement")
        seen = measured_values(measurement, part_index) if lab is None else typed_values(lab)
        with self._keeping(content) as sha, self.writing() as connection:
            rows.row_of(connection, Batch.__table__, batch_id)
            if sha:
                values["photo_id"] = self._add_photo_row(connection, batch_id, sha, name, content)
            return self._add_reading_row(connection, {"batch_id": batch_id, **seen, **values})

    def add_photo(self, photo, batch_id=None):
        """Keep a photo, with a batch where one is given, and return its SHA-256."""
        content, name = photo_bytes(photo)
        with self._keeping(content) as sha, self.writing() as connection:
            self._add_photo_row(connection, batch_id, sha, name, content)
        return sha

    def batches(self, count=None, offset=0, **filters):
        """Return batches, newest first.

        Parameters
        ----------
        count : int, optional
            How many at most; all without.
        offset : int
            How many of the newest to pass over.
        **filters
            `dye`, `bath`, `alloy`, `order`, `text`, `since`, `until` (ISO dates), `deleted`, `ids`.

        Returns
        -------
        list of BatchRow
        """
        filters = _given(filters)
        with self.reading() as connection:
            query = with_filters(batch_query(), **filters).order_by(Batch.id.desc()).offset(offset)
            return batch_rows(connection, query.limit(count) if count is not None else query)

    def batch(self, batch_id):
        """Return one batch, deleted or not; BookError if it was never there."""
        query = batch_query().where(Batch.id == batch_id)
        with self.reading() as connection:
            found = batch_rows(connection, query)
        if not found:
            raise BookError(f"there is no batch {batch_id}; list the batches to see which there are")
        return found[0]

    def find(self, lab=None, count=20, **filters):
        """Return the batches nearest in colour, or, without a colour, the newest that match.

        Parameters
        ----------
        lab : array_like, shape (3,), optional
            L*, a*, b* to look for.
        count : int
        **filters
            As in `batches`.

        Returns
        -------
        list of Found
            Nearest first by CIEDE2000, each batch once, by its nearest reading.
        """
        filters = _given(filters)
        if lab is None:
            return [Found(row, None) for row in self.batches(count, **filters)]
        with self.reading() as connection:
            allowed = None
            if filters:
                query = with_filters(batch_query().with_only_columns(Batch.id), **filters)
                allowed = connection.execute(query).scalars().all()
            near = self._shades.column(connection).nearest(lab, count, allowed)
            query = with_filters(batch_query(), ids=[key for key, _ in near])
            by_number = {row.batch: row for row in batch_rows(connection, query)}
        return [Found(by_number[key], difference) for key, difference in near if key in by_number]

    def way_back(self, reading_id):
        """Return what a reading goes back to, see `dyebook.book.life.way_back`."""
        from dyebook.book.life import way_back

        with self.reading() as connection:
            return way_back(connection, reading_id)

    def batch_history(self, batch_id):
        """Return every change of a batch and of all that hangs on it, oldest first."""
        from dyebook.book.life import batch_history

        with self.reading() as connection:
            return batch_history(connection, batch_id)

    def bath_life(self, bath_id):
        """Return how a bath has fared since it was made up, see `dyebook.book.life.bath_life`."""
        from dyebook.book.life import bath_life

        with self.reading() as connection:
            return bath_life(connection, bath_id)

    def electrolyte_life(self, electrolyte_id):
        """Return how an electrolyte has fared since it was made up, see `dyebook.book.life.electrolyte_life`."""
        from dyebook.book.life import electrolyte_life

        with self.reading() as connection:
            return electrolyte_life(connection, electrolyte_id)

    def frame(self, **filters):
        """Return what was set and read as a table ready for `learn_bath`, see `dyebook.book.frame.make_frame`."""
        from dyebook.book.frame import make_frame

        with self.reading() as connection:
            return make_frame(connection, **filters)

    def correct_batch(self, batch_id, changes, version=None):
        """Correct settings of a batch by their names in `FIELDS`; return its new version.

        With `version`, the one that was looked at, the correction is refused if the batch has moved on since.
        """
        with self.writing() as connection:
            names = Names(connection, self.who)
            return batches.correct_batch(connection, batch_id, changes, names, version, self.who)

    @property
    def photos(self):
        """The keeper of photos; BookError when nobody has said where they are."""
        keeper = self._photos_or_none()
        if keeper is None:
            raise BookError("nobody has said where photos are kept; give a folder or URL as DYEBOOK_PHOTOS")
        return keeper

    def _photos_or_none(self):
        place = self.place.photos or self.setting("photos")
        return open_photos(place) if place else None

    def set_setting(self, key, value):
        """Keep a setting, see `Tables.set_setting`; a new place of photos must hold those the book has."""
        if key == "photos":
            self.must_be("owner")
            self._check_place_of_photos(check_setting(key, value))
        super().set_setting(key, value)

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

    def photo_bytes(self, sha):
        """Return the bytes of a photo, exactly as they were given."""
        return self.photos.read(sha)

    def check(self):
        """Return what is wrong with the book, in words; an empty list when all is well."""
        keeper = self._photos_or_none()
        with self.reading() as connection:
            return find_problems(connection, keeper)

    def import_file(self, file, dry_run=False, duplicates="refuse", progress=None, **options):
        """Import records or instrument readings, all or nothing, see `dyebook.book.exchange.instrument.import_any`."""
        from dyebook.book.exchange.instrument import import_any

        return import_any(self, file, dry_run, duplicates, progress, **options)

    def export_file(self, file, **filters):
        """Write batches as a table and return its rows' number, see `dyebook.book.exchange.export.export_records`."""
        from dyebook.book.exchange.export import export_records

        return export_records(self, file, **filters)

    def back_up(self, file):
        """Write the whole book into one zip file, see `dyebook.book.backup.write_backup`."""
        from dyebook.book.backup import write_backup

        with clear_errors(self.place):
            return write_backup(self, file)

    def restore(self, file):
        """Replace the whole book by a verified backup, see `dyebook.book.backup.read_backup`."""
        from dyebook.book.backup import read_backup

        with clear_errors(self.place):
            return read_backup(self, file)

    @contextmanager
    def _keeping(self, content):
        """Store a photo's bytes around the transaction that writes its row; yields None without a photo."""
        self.must_be("maker")
        if content is None:
            yield None
            return
        with clear_errors(self.place), self.photos.keeping(content) as sha:
            yield sha

    def _add_photo_row(self, connection, batch_id, sha, name, content):
        table = Photo.__table__
        same = (table.c.sha256 == sha, table.c.batch_id == batch_id)
        found = connection.execute(select(table.c.id).where(*same)).scalar()
        values = {"batch_id": batch_id, "sha256": sha, "name": name, "size_bytes": len(content)}
        return found or rows.add_row(connection, table, values, self.who)

    def _add_reading_row(self, connection, values):
        return rows.add_row(connection, Reading.__table__, values, self.who)


def _given(filters):
    """The filters that narrow anything."""
    return {name: value for name, value in filters.items() if value not in (None, False)}
