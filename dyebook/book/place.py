"""Where a book lives: a folder, a file or a database URL, and the folder of its photos."""

import os
from dataclasses import dataclass
from pathlib import Path

from dyebook.errors import BookError

__all__ = ["Place", "find_place", "unused_file", "user_folder"]

_FILE_ENDINGS = {".sqlite", ".sqlite3", ".db"}
_POSTGRES = ("postgresql:", "postgres:", "postgresql+psycopg:")


@dataclass(frozen=True)
class Place:
    """The address of a book.

    Attributes
    ----------
    name : str
        As shown to people; passwords removed.
    url : str
        What SQLAlchemy opens.
    file : Path or None
        The SQLite file; None for a database server.
    photos : str or None
        Folder or fsspec URL of the photos; None when nobody has said.
    """

    name: str
    url: str
    file: Path | None
    photos: str | None


def find_place(path_or_url=None, photos=None):
    """Return where the book lives.

    Parameters
    ----------
    path_or_url : str or Path, optional
        A folder (made if missing) that holds ``book.sqlite`` and ``photos/``; a file ending in ``.sqlite``,
        ``.sqlite3`` or ``.db``, with its photos in a folder beside it; or a ``postgresql://`` URL. Without it,
        the environment variable ``DYEBOOK_BOOK``, else the user's data folder.
    photos : str or Path, optional
        Folder or fsspec URL of the photos, else ``DYEBOOK_PHOTOS``, else beside the file.

    Returns
    -------
    Place

    Raises
    ------
    BookError
        If the URL is of a kind that cannot hold a book.
    """
    given = str(path_or_url or os.environ.get("DYEBOOK_BOOK") or user_folder() / "shop.dyebook")
    photos = str(photos or os.environ.get("DYEBOOK_PHOTOS") or "") or None
    if given.startswith(_POSTGRES):
        return _server_place(given, photos)
    if given.startswith("sqlite:///"):
        given = given.removeprefix("sqlite:///")
    if "://" in given:
        raise BookError(f"{given.split('://')[0]}:// cannot hold a book; give a path, or a postgresql:// URL")
    return _disk_place(Path(given).expanduser(), photos)


def user_folder():
    """Return this user's data folder, made if it is missing."""
    from platformdirs import user_data_path

    return user_data_path("dyebook", appauthor=False, ensure_exists=True)


def _server_place(given, photos):
    from sqlalchemy.engine import make_url

    url = make_url(given).set(drivername="postgresql+psycopg")
    return Place(url.render_as_string(hide_password=True), url.render_as_string(hide_password=False), None, photos)


def _disk_place(path, photos):
    is_file = path.is_file() or (path.suffix.lower() in _FILE_ENDINGS and not path.is_dir())
    file = path if is_file else path / "book.sqlite"
    beside = path.with_suffix(".photos") if is_file else path / "photos"
    return Place(str(path), f"sqlite+pysqlite:///{file}", file, photos or str(beside))


def unused_file(folder, stem):
    """Return a path ``stem.sqlite`` in a folder that nothing is kept under yet; a number is added where needed."""
    tries = (Path(folder) / f"{stem}{number}.sqlite" for number in ("", *(f"-{n}" for n in range(2, 10_000))))
    return next(path for path in tries if not path.exists())
