"""The order behind a run: found by name, and whether its work is worn on the skin or used with food."""

from dyebook.errors import RecordError

__all__ = ["is_for_skin", "open_order_names", "order_named", "order_of"]


def open_order_names(book):
    """Return the names of the orders that are not done yet, oldest first."""
    return [row["name"] for row in book.rows("orders", done_at=None)]


def order_named(book, name):
    """Return the row of an order; RecordError with the open ones where there is none of that name."""
    found = book.rows("orders", name=name)
    if not found:
        known = ", ".join(open_order_names(book)) or "none"
        raise RecordError(f"the book has no order {name!r}; open ones: {known}")
    return found[0]


def order_of(book, run):
    """Return the name of the order that a run was planned for; None without one."""
    order_id = ((run["trace"] or {}).get("plan") or {}).get("order_id")
    return None if order_id is None else book.row("orders", order_id)["name"]


def is_for_skin(book, name):
    """Whether an order is worn on the skin or used with food; False where nobody said so."""
    return name is not None and bool(order_named(book, name)["skin_contact"])
