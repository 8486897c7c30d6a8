"""Who may do what in a book that several people share: readers look, makers write, owners also decide.

At the shop's own machine, in the shell and at a paired phone, everybody is an owner: a person who stands there can also
carry the book away. Roles count where people come in through sign-in.
"""

from dataclasses import dataclass

from dyebook.errors import BookError, RecordError

__all__ = ["PEOPLE", "ROLES", "Who", "address_of", "people_of", "refuse_unless", "set_person", "who_is"]

# each may also do what those before it may
ROLES = ("reader", "maker", "owner")
PEOPLE = "people"  # the setting that lists them
_LONGEST = 254


@dataclass(frozen=True)
class Who:
    """One person at the book: the name for its history, and a role of `ROLES`."""

    name: str
    role: str


def refuse_unless(role: str | None, needed: str, name: str) -> None:
    """Raise `BookError` unless `role` (None: none) is `needed` or more."""
    if role not in ROLES or ROLES.index(role) < ROLES.index(needed):
        raise BookError(f"{name} has the role {role or 'none'}, and this is for its {needed}s; ask an owner")


def people_of(book) -> dict[str, str]:
    """Return the role of each person who may sign in, by e-mail address."""
    return dict(book.setting(PEOPLE) or {})


def set_person(book, email: str, role: str | None) -> None:
    """Let a person sign in with a role of `ROLES`, or (None) no longer, which counts from the next tap on.

    RecordError if it is no e-mail address or no role; BookError if that person is not on the list, or the one who asks
    is no owner.
    """
    address, listed = address_of(email), people_of(book)
    if role is None and address not in listed:
        raise BookError(f"{address} is not among the people of this book; list them to see who is")
    if role is not None and role not in ROLES:
        raise RecordError(f"the role is {role!r}; it must be one of {', '.join(ROLES)}")
    others = {name: kept for name, kept in listed.items() if name != address}
    book.set_setting(PEOPLE, others if role is None else {**others, address: role})


def address_of(email: str | None) -> str:
    """Return an e-mail address as it is kept: without space around it, in small letters; RecordError if it is none."""
    # another's address must not be folded into this one: the kelvin sign is no k
    address = "".join(one.lower() if one.isascii() else one for one in (email or "").strip())
    name, _, host = address.partition("@")
    if not name or not host or "@" in host or len(address) > _LONGEST or any(one.isspace() for one in address):
        raise RecordError(f"{email!r} is no e-mail address; write it as name@host")
    return address


def who_is(book, email: str | None) -> Who | None:
    """Return the person who signed in with an e-mail address, as the book has it now; None if it lists no such one."""
    try:
        address = address_of(email)
    except RecordError:
        return None
    role = people_of(book).get(address)
    return Who(address, role) if role in ROLES else None
