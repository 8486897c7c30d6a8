"""Dyes, baths, runs, batches and dips: what was set."""

from sqlalchemy import UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from dyebook.book.schema.base import Base, Kept, between, link, moment

__all__ = ["Batch", "Bath", "Dip", "Dye", "Rinse", "Run"]


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


class Run(Kept, Base):
    """One anodise run: what made the film."""

    __tablename__ = "runs"
    film_um: Mapped[float | None]
    film_measured_um: Mapped[float | None]
    film_sd_um: Mapped[float | None]
    area_dm2: Mapped[float | None]
    current_density_a_per_dm2: Mapped[float | None]
    electrolyte_temp_c: Mapped[float | None]
    alloy: Mapped[str | None]
    finish: Mapped[str | None]


class Batch(Kept, Base):
    """The parts that went through together, with one set of settings."""

    __tablename__ = "batches"
    run_id: Mapped[int | None] = link("runs")
    replaces_id: Mapped[int | None] = link("batches")
    dyed_at: Mapped[str | None] = moment()
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
    masked: Mapped[str | None]


class Rinse(Kept, Base):
    """One rinse of a batch."""

    __tablename__ = "rinses"
    batch_id: Mapped[int] = link("batches")
    position: Mapped[int] = between(1, 99, default=1, server_default="1")
    rinse_temp_c: Mapped[float | None]
    note: Mapped[str | None]
