"""Set-ups of the book: camera, lamp, card and place under which readings are comparable.

Each reading carries the key by which its set-up was recognised. A maker gives keys a name; two keys of one name are one
set-up. One without a name is called by its key.
"""

from dataclasses import dataclass

from sqlalchemy import func, select

from dyebook.book import rows
from dyebook.book.schema import Reading, Setup
from dyebook.errors import RecordError
from dyebook.record import check_lab

__all__ = [
    "SetupUse", "keep_twin", "list_setups", "name_setup", "setup_called", "setup_names", "setup_of", "take_name_back",
    "twin_of", "version_of",
]  # fmt: skip

_LONGEST_NAME = 60


@dataclass(frozen=True)
class SetupUse:
    """A set-up and its use: `name` is None until a maker gives one."""

    name: str | None
    of_keys: tuple  # of (str, str, int): each key, the ISO moment it was first seen, its readings; in order of keys

    @property
    def keys(self) -> tuple:
        """The keys, sorted."""
        return tuple(key for key, *_ in self.of_keys)

    @property
    def first_seen(self) -> str:
        """The ISO moment of its first reading."""
        return min(at for _, at, _ in self.of_keys)

    @property
    def readings(self) -> int:
        """How many there are."""
        return sum(count for *_, count in self.of_keys)

    def to_dict(self) -> dict:
        """Return plain values for JSON."""
        return {name: getattr(self, name) for name in ("name", "keys", "first_seen", "readings")}


def setup_names(book) -> dict[str, str]:
    """Return the names that makers gave, by key."""
    return {row["key"]: row["name"] for row in book.rows("setups")}


def setup_of(row: dict, names: dict[str, str]) -> str | None:
    """Return by what readings of one set-up are known: its name in small letters, else its key; None without one.

    `row`: of the table of readings. `names`: of `setup_names`.
    """
    asked = (row["measured_with"] or {}).get("asked") or {}
    return setup_called(row["setup_key"], asked.get("setup"), names)


def setup_called(key: str | None, said: str | None, names: dict[str, str]) -> str | None:
    """Return the same of a reading's key and the name that was said when it was read."""
    name = names.get(key) or said
    return name.casefold() if name else key


def version_of(book, key: str) -> int:
    """Return the version of what was told of a key; 0 while nothing was."""
    return next((row["version"] for row in book.rows("setups", key=key)), 0)


def name_setup(book, key: str, name: str, version: int | None = None) -> None:
    """Give a key's set-up a name, in place of the one it had; that of another key joins the two.

    With `version`, the one that was looked at, BookError if it has moved on since.
    """
    name = " ".join((name or "").split())
    if not name or len(name) > _LONGEST_NAME:
        raise RecordError(f"a set-up is named in 1 to {_LONGEST_NAME} characters, such as window bench, not {name!r}")
    with book.writing() as connection:
        _tell(connection, book, key, {"name": name}, version)


def take_name_back(book, key: str, version: int | None = None) -> None:
    """Take the last name of a key's set-up back: it has the one before, or none, and parts from those it had joined.

    RecordError where it has none that was given; for `version` see `name_setup`.
    """
    with book.writing() as connection:
        found = rows.list_rows(connection, Setup.__table__, key=key)
        if not found or found[0]["name"] is None:
            raise RecordError(f"set-up {key} has no name that could be taken back")
        changes = [one for one in rows.history_of(connection, "setups", found[0]["id"]) if "name" in one["old"]]
        standing = [None]
        for name in [*(one["old"]["name"] for one in changes[:1]), *(one["new"]["name"] for one in changes)]:
            # a name that gives way to the one before it was itself taken back
            standing = standing[:-1] if [name] == standing[-2:-1] else [*standing, name]
        _tell(connection, book, key, {"name": standing[-2] if changes else None}, version)


def twin_of(book, key: str | None) -> tuple | None:
    """Return the own Lab of the bare twin in a key's set-up; None where it was not told."""
    return next((tuple(row["twin_lab"]) for row in book.rows("setups", key=key) if row["twin_lab"]), None)


def keep_twin(book, key: str, lab, version: int | None = None) -> None:
    """Keep the own Lab of the bare twin in a key's set-up, typed or as numbers; None forgets it; see `name_setup`."""
    told = None if lab is None else check_lab("the bare twin", lab)
    with book.writing() as connection:
        _tell(connection, book, key, {"twin_lab": told}, version)


def _tell(connection, book, key, values, version):
    """Write what was told of a key."""
    known = [row["id"] for row in rows.list_rows(connection, Setup.__table__, key=key)]
    # the first thing told has its line in the history too
    number = known[0] if known else rows.add_row(connection, Setup.__table__, {"key": key}, book.who)
    rows.correct_row(connection, Setup.__table__, number, values, version if known else None, book.who)


def list_setups(book) -> list[SetupUse]:
    """Return the `SetupUse` of every set-up that readings of the book name, the newest first."""
    asked = Reading.measured_with["asked"]["setup"].as_string()
    first, count = func.min(func.coalesce(Reading.read_at, Reading.added_at)), func.count()
    query = (
        select(Reading.setup_key, asked, first, count)
        .where(Reading.setup_key.is_not(None), Reading.deleted_at.is_(None))
        .group_by(Reading.setup_key, asked)
    )
    with book.reading() as connection:
        found = connection.execute(query).all()
    names, groups = setup_names(book), {}
    for key, said, *use in found:
        name = names.get(key) or said
        _, own = groups.setdefault(setup_called(key, said, names), (name, {}))
        at, count = own.get(key, (use[0], 0))
        own[key] = min(at, use[0]), count + use[1]
    uses = [SetupUse(name, tuple((key, *own[key]) for key in sorted(own))) for name, own in groups.values()]
    return sorted(uses, key=lambda one: one.first_seen, reverse=True)
