"""Orders, what the customer brings, the shade to reach, and what became of it."""

from sqlalchemy.orm import Mapped, mapped_column

from dyebook.book.schema.base import Base, Kept, between, link, moment, one_of

__all__ = ["Coupon", "Order", "OrderItem", "Sample", "Target", "Test", "Verdict"]


class Order(Kept, Base):
    """What a customer asked for, in the customer's words."""

    __tablename__ = "orders"
    name: Mapped[str] = mapped_column(unique=True)
    customer: Mapped[str | None]
    words: Mapped[str | None]
    price: Mapped[float | None] = between(0, 10**9)
    currency: Mapped[str | None]
    due_on: Mapped[str | None] = moment()
    skin_contact: Mapped[bool | None]
    done_at: Mapped[str | None] = moment()
    note: Mapped[str | None]


class OrderItem(Kept, Base):
    """Some equal parts of an order."""

    __tablename__ = "order_items"
    order_id: Mapped[int] = link("orders")
    name: Mapped[str]
    pieces: Mapped[int | None] = between(1, 1_000_000)
    area_dm2: Mapped[float | None]
    alloy: Mapped[str | None]
    finish: Mapped[str | None]
    target_id: Mapped[int | None] = link("targets")
    note: Mapped[str | None]


class Sample(Kept, Base):
    """A thing the customer brought to be matched; its colour is a reading."""

    __tablename__ = "samples"
    order_id: Mapped[int | None] = link("orders")
    name: Mapped[str]
    note: Mapped[str | None]


class Target(Kept, Base):
    """The shade to reach, with its tolerance."""

    __tablename__ = "targets"
    order_id: Mapped[int | None] = link("orders")
    sample_id: Mapped[int | None] = link("samples")
    name: Mapped[str]
    L: Mapped[float]
    a: Mapped[float]
    b: Mapped[float]
    tolerance_de00: Mapped[float | None] = between(0, 50)
    note: Mapped[str | None]


class Verdict(Kept, Base):
    """What was decided about a batch against its target, and on which reading."""

    __tablename__ = "verdicts"
    batch_id: Mapped[int] = link("batches")
    target_id: Mapped[int | None] = link("targets")
    reading_id: Mapped[int | None] = link("readings")
    verdict: Mapped[str] = one_of("pass", "fail", "redo", "redip", "accepted_as_is")
    delta_e00: Mapped[float | None] = between(0, 200)
    decided_at: Mapped[str | None] = moment()
    note: Mapped[str | None]


class Test(Kept, Base):
    """A test of a finished batch."""

    __tablename__ = "tests"
    __test__ = False  # not a test of ours
    batch_id: Mapped[int] = link("batches")
    kind: Mapped[str] = one_of("rub", "seal", "light", "film", "other")
    method: Mapped[str | None]
    result: Mapped[str | None]
    rating: Mapped[float | None] = between(0, 1000)
    passed: Mapped[bool | None]
    tested_at: Mapped[str | None] = moment()
    note: Mapped[str | None]


class Coupon(Kept, Base):
    """A test piece: plain, drawn out in steps, or kept unchanged to catch a drifting camera or card."""

    __tablename__ = "coupons"
    name: Mapped[str]
    kind: Mapped[str] = one_of("coupon", "stepped", "check")
    batch_id: Mapped[int | None] = link("batches")
    steps: Mapped[list | None]
    made_at: Mapped[str | None] = moment()
    note: Mapped[str | None]
