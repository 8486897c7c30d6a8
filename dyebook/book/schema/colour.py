"""Photos and readings: what was seen, with the whole way back to its evidence."""

from sqlalchemy import Index, UniqueConstraint
from sqlalchemy.orm import Mapped

from dyebook.book.schema.base import Base, Kept, between, link, moment, one_of

__all__ = ["Photo", "Reading"]


class Photo(Kept, Base):
    """A photo, kept as a file under its SHA-256 and never altered."""

    __tablename__ = "photos"
    batch_id: Mapped[int | None] = link("batches")
    sha256: Mapped[str]
    name: Mapped[str | None]
    size_bytes: Mapped[int] = between(1, 10**10)
    taken_at: Mapped[str | None] = moment()
    note: Mapped[str | None]
    __table_args__ = (UniqueConstraint("sha256", "batch_id"), Index(None, "sha256"))


class Reading(Kept, Base):
    """One measured colour, CIE 1976 L*, a*, b* under D65 and the 2-degree observer.

    ``*_sd`` is the standard uncertainty, as in records; ``*_spread`` the spread over the part.
    """

    __tablename__ = "readings"
    batch_id: Mapped[int | None] = link("batches")
    dip_id: Mapped[int | None] = link("dips")
    part_id: Mapped[int | None] = link("parts")
    coupon_id: Mapped[int | None] = link("coupons")
    sample_id: Mapped[int | None] = link("samples")
    photo_id: Mapped[int | None] = link("photos")
    source: Mapped[str] = one_of("photo", "instrument", "typed")
    part_index: Mapped[int | None] = between(0, 9999)
    L: Mapped[float]
    a: Mapped[float]
    b: Mapped[float]
    L_sd: Mapped[float | None]
    a_sd: Mapped[float | None]
    b_sd: Mapped[float | None]
    L_spread: Mapped[float | None] = between(0, 100)
    a_spread: Mapped[float | None] = between(0, 100)
    b_spread: Mapped[float | None] = between(0, 100)
    wet: Mapped[bool | None]
    sealed: Mapped[bool | None]
    uniformity: Mapped[float | None] = between(0, 200)
    area_mm2: Mapped[float | None] = between(0, 10**9)
    flags: Mapped[list | None]
    flaws: Mapped[list | None]
    outline: Mapped[list | None]
    card: Mapped[dict | None]
    camera: Mapped[str | None]
    measured_with: Mapped[dict | None]
    spectrum: Mapped[dict | None]
    read_at: Mapped[str | None] = moment()
    note: Mapped[str | None]
