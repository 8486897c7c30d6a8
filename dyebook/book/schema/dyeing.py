"""Dyes, baths with their life, batches with their dips, rinses and seals: what was set."""

from sqlalchemy import UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from dyebook.book.schema.base import Base, Kept, between, link, moment, one_of

__all__ = ["Batch", "Bath", "BathEvent", "Dip", "Dye", "Part", "Rinse", "Seal"]


class Dye(Kept, Base):
    """A colorant as it comes from the tin."""

    __tablename__ = "dyes"
    name: Mapped[str] = mapped_column(unique=True)
    note: Mapped[str | None]


class Bath(Kept, Base):
    """One made-up tank of a dye."""

    __tablename__ = "baths"
    name: Mapped[str]
    dye_id: Mapped[int] = link("dyes")
    bath_volume_l: Mapped[float | None] = between(0.01, 100_000)
    note: Mapped[str | None]
    __table_args__ = (UniqueConstraint("name", "dye_id"),)


class BathEvent(Kept, Base):
    """What happened to a bath, with what was found or left."""

    __tablename__ = "bath_events"
    bath_id: Mapped[int] = link("baths")
    at: Mapped[str] = moment()
    kind: Mapped[str] = one_of("made_up", "topped_up", "ph_moved", "filtered", "measured", "thrown_out")
    bath_volume_l: Mapped[float | None] = between(0.01, 100_000)
    dye_g_per_l: Mapped[float | None]
    ph: Mapped[float | None]
    bath_temp_c: Mapped[float | None]
    note: Mapped[str | None]


class Batch(Kept, Base):
    """The parts that went through together, with one set of settings."""

    __tablename__ = "batches"
    run_id: Mapped[int | None] = link("runs")
    replaces_id: Mapped[int | None] = link("batches")
    order_id: Mapped[int | None] = link("orders")
    jig: Mapped[str | None]
    jig_stripped_at: Mapped[str | None] = moment()
    dyed_at: Mapped[str | None] = moment()
    note: Mapped[str | None]


class Part(Kept, Base):
    """One piece of a batch, and its place on the jig."""

    __tablename__ = "parts"
    batch_id: Mapped[int] = link("batches")
    order_item_id: Mapped[int | None] = link("order_items")
    name: Mapped[str | None]
    jig_place: Mapped[str | None]
    pieces: Mapped[int | None] = between(1, 1_000_000)
    area_dm2: Mapped[float | None]
    note: Mapped[str | None]


class Dip(Kept, Base):
    """One immersion of a batch in a bath; masked two-colour work has several, in order."""

    __tablename__ = "dips"
    batch_id: Mapped[int] = link("batches")
    position: Mapped[int] = between(1, 99, default=1, server_default="1")
    dye_id: Mapped[int] = link("dyes")
    bath_id: Mapped[int | None] = link("baths")
    dye_g_per_l: Mapped[float | None]
    bath_temp_c: Mapped[float | None]
    dwell_min: Mapped[float | None]
    ph: Mapped[float | None]
    wait_min: Mapped[float | None]
    masked: Mapped[str | None]
    note: Mapped[str | None]


class Rinse(Kept, Base):
    """One rinse of a batch."""

    __tablename__ = "rinses"
    batch_id: Mapped[int] = link("batches")
    position: Mapped[int] = between(1, 99, default=1, server_default="1")
    kind: Mapped[str | None] = one_of("tap", "deionised", "warm", "neutralise", "spray")
    rinse_temp_c: Mapped[float | None]
    dwell_min: Mapped[float | None] = between(0, 1440)
    note: Mapped[str | None]


class Seal(Kept, Base):
    """One closing step of a batch after dyeing."""

    __tablename__ = "seals"
    batch_id: Mapped[int] = link("batches")
    position: Mapped[int] = between(1, 99, default=1, server_default="1")
    kind: Mapped[str | None] = one_of("hot_water", "nickel_acetate", "cold", "mid_temperature", "steam", "other")
    seal_temp_c: Mapped[float | None] = between(0, 130)
    dwell_min: Mapped[float | None] = between(0, 1440)
    ph: Mapped[float | None]
    note: Mapped[str | None]
