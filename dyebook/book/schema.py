"""The tables of the book, as typed models; `HEAD` names the newest schema version.

In order: what every table shares, and the marks that a column's values are checked by; settings and the history of
every change; what made the film; what was set; orders, samples, targets and verdicts; photos and readings, with all
that leads from a reading back to its evidence.
"""

from datetime import UTC, datetime
from typing import ClassVar

from sqlalchemy import JSON, Boolean, Double, ForeignKey, Index, Integer, MetaData, String, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from dyebook.record import BATH_EVENTS, ELECTROLYTE_EVENTS, GEOMETRIES

__all__ = [
    "HEAD", "TABLES", "Base", "Batch", "Bath", "BathEvent", "Change", "Coupon", "Dip", "Dye", "Electrolyte",
    "ElectrolyteEvent", "Kept", "Lot", "Order", "OrderItem", "Part", "Photo", "Preparation", "Reading", "Rinse", "Run",
    "Sample", "Seal", "Setting", "Setup", "Target", "Test", "Verdict", "between", "link", "moment", "now", "one_of",
]  # fmt: skip

_NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Root of the book's tables; moments are ISO 8601 text, the same in SQLite, PostgreSQL and every export."""

    metadata = MetaData(naming_convention=_NAMES)
    type_annotation_map: ClassVar = {
        float: Double(),
        str: String(),
        int: Integer(),
        bool: Boolean(),
        dict: JSON(none_as_null=True),
        list: JSON(none_as_null=True),
    }


class Kept:
    """A row that is never lost: corrections raise `version`, deletion is the mark `deleted_at`."""

    id: Mapped[int] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(default=1, server_default="1")
    added_at: Mapped[str]
    added_by: Mapped[str]
    deleted_at: Mapped[str | None]


def between(lower, upper, label=None, **options):
    """Return a column whose numbers must lie within the two limits; `label`: what people call it."""
    return mapped_column(info={"between": (lower, upper), "label": label}, **options)


def one_of(*words, **options):
    """Return a column that holds one of the given words."""
    return mapped_column(info={"one_of": words}, **options)


def moment(**options):
    """Return a column that holds a date, or a date and time, as ISO 8601 text."""
    return mapped_column(info={"moment": True}, **options)


def link(table, **options):
    """Return an indexed column that points to a row of another table."""
    return mapped_column(ForeignKey(f"{table}.id"), index=True, **options)


def now():
    """Return this moment in UTC as ISO 8601 text."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Setting(Base):
    """One shop setting, such as the card's own Lab; its value is any JSON."""

    __tablename__ = "settings"
    key: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[dict | None]


class Change(Base):
    """Who changed what, when, from which old values to which new ones."""

    __tablename__ = "history"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[str]
    who: Mapped[str]
    table: Mapped[str]
    row_id: Mapped[int | None]
    action: Mapped[str] = one_of("correct", "delete", "undelete", "undo", "setting", "restore")
    old: Mapped[dict | None]
    new: Mapped[dict | None]
    __table_args__ = (Index(None, "table", "row_id"),)


class Electrolyte(Kept, Base):
    """One filling of the anodising tank's place in the shop."""

    __tablename__ = "electrolytes"
    name: Mapped[str] = mapped_column(unique=True)
    bath_volume_l: Mapped[float | None] = between(0.01, 100_000)
    note: Mapped[str | None]


class ElectrolyteEvent(Kept, Base):
    """What happened to an electrolyte, with what was found or left."""

    __tablename__ = "electrolyte_events"
    electrolyte_id: Mapped[int] = link("electrolytes")
    at: Mapped[str] = moment()
    kind: Mapped[str] = one_of(*ELECTROLYTE_EVENTS)
    bath_volume_l: Mapped[float | None] = between(0.01, 100_000)
    electrolyte_g_per_l: Mapped[float | None] = between(0, 500)
    dissolved_al_g_per_l: Mapped[float | None] = between(0, 50)
    chloride_mg_per_l: Mapped[float | None] = between(0, 10_000)
    note: Mapped[str | None]


class Run(Kept, Base):
    """One anodise run: what made the film."""

    __tablename__ = "runs"
    film_um: Mapped[float | None]
    film_from_charge_um: Mapped[float | None] = between(0, 200)
    film_measured_um: Mapped[float | None]
    film_sd_um: Mapped[float | None]
    area_dm2: Mapped[float | None]
    current_density_a_per_dm2: Mapped[float | None]
    current_a: Mapped[float | None] = between(0, 100_000)
    voltage_v: Mapped[float | None] = between(0, 200)
    charge_ah: Mapped[float | None] = between(0, 1_000_000)
    anodise_min: Mapped[float | None] = between(0, 1440)
    electrolyte_id: Mapped[int | None] = link("electrolytes")
    electrolyte_temp_c: Mapped[float | None]
    agitation: Mapped[str | None]
    cathode: Mapped[str | None]
    alloy: Mapped[str | None]
    finish: Mapped[str | None]
    trace: Mapped[dict | None]
    started_at: Mapped[str | None] = moment()
    note: Mapped[str | None]


class Preparation(Kept, Base):
    """One step before anodising; the steps of a run follow each other by position."""

    __tablename__ = "preparations"
    run_id: Mapped[int] = link("runs")
    position: Mapped[int] = between(1, 99, default=1, server_default="1")
    kind: Mapped[str] = one_of(
        "clean", "etch", "desmut", "polish", "blast", "brush", "water_break_test", "contacts", "rinse"
    )
    dwell_min: Mapped[float | None] = between(0, 1440)
    bath_temp_c: Mapped[float | None]
    passed: Mapped[bool | None]
    note: Mapped[str | None]


class Dye(Kept, Base):
    """A colorant as it comes from the tin."""

    __tablename__ = "dyes"
    name: Mapped[str] = mapped_column(unique=True)
    note: Mapped[str | None]


class Lot(Kept, Base):
    """A tin, bag or drum of a dye or another chemical, with the day it was opened."""

    __tablename__ = "lots"
    product: Mapped[str] = mapped_column(index=True)
    lot: Mapped[str]
    opened_on: Mapped[str] = moment()
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
    kind: Mapped[str] = one_of(*BATH_EVENTS)
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
    position: Mapped[int] = between(1, 9999, default=1, server_default="1")
    name: Mapped[str | None]
    jig_place: Mapped[str | None]
    contact_marks: Mapped[str | None]
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
    dye_lot: Mapped[str | None]
    masked: Mapped[str | None]
    note: Mapped[str | None]


class Rinse(Kept, Base):
    """One rinse of a batch."""

    __tablename__ = "rinses"
    batch_id: Mapped[int] = link("batches")
    position: Mapped[int] = between(1, 99, default=1, server_default="1")
    kind: Mapped[str | None] = one_of("tap", "deionised", "warm", "neutralise", "spray")
    rinse_temp_c: Mapped[float | None]
    dwell_min: Mapped[float | None] = between(0, 1440, "time in the rinse")
    note: Mapped[str | None]


class Seal(Kept, Base):
    """One closing step of a batch after dyeing."""

    __tablename__ = "seals"
    batch_id: Mapped[int] = link("batches")
    position: Mapped[int] = between(1, 99, default=1, server_default="1")
    kind: Mapped[str | None] = one_of("hot_water", "nickel_acetate", "cold", "mid_temperature", "steam", "other")
    seal_temp_c: Mapped[float | None] = between(0, 130)
    dwell_min: Mapped[float | None] = between(0, 1440, "time in the seal")
    ph: Mapped[float | None]
    seal_stain: Mapped[float | None]
    note: Mapped[str | None]


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
    """The shade to reach, with its tolerance: stated, or as a sample or a batch of the book was read."""

    __tablename__ = "targets"
    order_id: Mapped[int | None] = link("orders")
    sample_id: Mapped[int | None] = link("samples")
    name: Mapped[str]
    L: Mapped[float]
    a: Mapped[float]
    b: Mapped[float]
    tolerance_de00: Mapped[float | None] = between(0, 50)
    batch_id: Mapped[int | None] = link("batches")
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

    ``*_sd`` is the standard uncertainty, as in records; ``*_spread`` the spread over the part. ``error_parts`` are the
    named parts of the error, 3 x 3 covariances that add up to the squares of ``*_sd``; NULL where they were not told
    apart, and all of it is then the reading's own. An instrument's ``geometry`` is empty for photos.
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
    error_parts: Mapped[dict | None]
    setup_key: Mapped[str | None] = mapped_column(index=True)
    shape_key: Mapped[str | None]
    finish: Mapped[str | None]
    geometry: Mapped[str | None] = one_of(*GEOMETRIES)
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


class Setup(Kept, Base):
    """What a maker told of a set-up: its name (two keys of one name are one set-up), the own Lab of its bare twin."""

    __tablename__ = "setups"
    key: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str | None]
    note: Mapped[str | None]
    twin_lab: Mapped[list | None]


HEAD = "0007"

# name -> table, for everything that is added, listed and corrected by the one mechanism of `dyebook.book.rows`;
# a table stands after those it points to
TABLES = {table.name: table for table in Base.metadata.sorted_tables if "deleted_at" in table.c}
