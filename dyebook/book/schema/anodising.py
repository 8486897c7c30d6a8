"""Electrolyte and its life, preparation, runs: what made the film."""

from sqlalchemy.orm import Mapped, mapped_column

from dyebook.book.schema.base import Base, Kept, between, link, moment, one_of

__all__ = ["Electrolyte", "ElectrolyteEvent", "Preparation", "Run"]


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
    kind: Mapped[str] = one_of("made_up", "topped_up", "titrated", "diluted", "thrown_out")
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
