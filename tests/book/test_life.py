"""What the rows add up to, worked out by hand."""

import pytest

from dyebook.lab import Lab
from dyebook.record import Measurement, Reading


def test_an_electrolytes_charge_counts_from_its_last_filling(store):
    number = store.add("electrolytes", name="tank", bath_volume_l=2)
    for at, kind, al in (("2026-01-01", "made_up", 0), ("2026-03-01", "made_up", 0), ("2026-03-20", "titrated", 4.5)):
        store.add("electrolyte_events", electrolyte_id=number, at=at, kind=kind, dissolved_al_g_per_l=al)
    for at, charge_ah in (("2026-02-01", 9.0), ("2026-03-02", 1.4), ("2026-03-05", 2.0)):
        store.add("runs", electrolyte_id=number, started_at=at, charge_ah=charge_ah)
    life = store.electrolyte_life(number)
    assert (life["made_up_at"], life["runs"], len(life["events"])) == ("2026-03-01", 2, 2)
    assert life["charge_ah"] == pytest.approx(3.4)
    assert life["ah_per_l"] == pytest.approx(1.7)
    assert life["dissolved_al_g_per_l"] == 4.5


def test_a_baths_dips_count_from_its_last_filling(store, dip):
    for day in ("2026-01-10", "2026-03-10", "2026-03-11"):
        store.add_batch(dip(bath="Tank 1", area_dm2=1.5, dyed_at=day))
    assert store.bath_life(1)["dips"] == 3
    store.add("bath_events", bath_id=1, at="2026-03-01", kind="made_up", dye_g_per_l=3)
    life = store.bath_life(1)
    assert (life["made_up_at"], life["dips"], life["area_dm2"]) == ("2026-03-01", 2, 3.0)


def test_the_whole_way_back_from_a_reading(store, dip, photo):
    card = ((0, 0), (9, 0), (9, 9), (0, 9))
    part = Reading(Lab(40, 5, -30), (1, 1, 1), (1, 1, 1))
    answer = Measurement("rim.jpg", (40, 30), "grey", card, Lab(49.5, 0, 0), (part,))
    number = store.add_batch(dip(bath="Tank 1"), photo, answer)
    order = store.add("orders", name="26-014")
    store.correct("batches", number, {"order_id": order})
    reading = store.row("readings", 1)
    batch, (step,) = store.row("batches", reading["batch_id"]), store.rows("dips", batch_id=reading["batch_id"])
    assert store.photo_bytes(store.row("photos", reading["photo_id"])["sha256"]) == photo
    assert reading["card"]["kind"] == "grey"
    assert (step["dwell_min"], store.row("runs", batch["run_id"])["film_um"]) == (5.0, 12.0)
    assert (store.row("dyes", step["dye_id"])["name"], store.row("baths", step["bath_id"])["name"]) == (
        "Harbour blue",
        "Tank 1",
    )
    assert store.row("orders", batch["order_id"])["name"] == "26-014"
    assert [row.batch for row in store.batches(order="26-014")] == [number]
    assert store.batches(order="none such") == []
