"""The whole shop: orders, samples, targets, verdicts, tests, coupons, electrolyte, preparation, parts and seals."""

from dyebook.book.migrations import add_columns, make_table

revision = "0002"
down_revision = "0001"


def upgrade():
    make_table("electrolytes", "name text!, bath_volume_l real, note text", "name")
    make_table(
        "orders",
        "name text!, customer text, words text, price real, currency text, due_on text, skin_contact bool, "
        "done_at text, note text",
        "name",
    )
    make_table(
        "electrolyte_events",
        "electrolyte_id int! > electrolytes, at text!, kind text!, bath_volume_l real, electrolyte_g_per_l real, "
        "dissolved_al_g_per_l real, chloride_mg_per_l real, note text",
    )
    make_table("samples", "order_id int > orders, name text!, note text")
    make_table(
        "bath_events",
        "bath_id int! > baths, at text!, kind text!, bath_volume_l real, dye_g_per_l real, ph real, "
        "bath_temp_c real, note text",
    )
    make_table(
        "preparations",
        "run_id int! > runs, position int! =1, kind text!, dwell_min real, bath_temp_c real, passed bool, note text",
    )
    make_table(
        "targets",
        "order_id int > orders, sample_id int > samples, name text!, L real!, a real!, b real!, "
        "tolerance_de00 real, note text",
    )
    make_table("coupons", "name text!, kind text!, batch_id int > batches, steps json_or_null, made_at text, note text")
    make_table(
        "order_items",
        "order_id int! > orders, name text!, pieces int, area_dm2 real, alloy text, finish text, "
        "target_id int > targets, note text",
    )
    make_table(
        "seals",
        "batch_id int! > batches, position int! =1, kind text, seal_temp_c real, dwell_min real, ph real, note text",
    )
    make_table(
        "tests",
        "batch_id int! > batches, kind text!, method text, result text, rating real, passed bool, tested_at text, "
        "note text",
    )
    make_table(
        "parts",
        "batch_id int! > batches, order_item_id int > order_items, name text, jig_place text, pieces int, "
        "area_dm2 real, note text",
    )
    make_table(
        "verdicts",
        "batch_id int! > batches, target_id int > targets, reading_id int > readings, verdict text!, "
        "delta_e00 real, decided_at text, note text",
    )
    add_columns("batches", "order_id int > orders, jig text, jig_stripped_at text")
    add_columns("dips", "note text")
    add_columns(
        "readings", "part_id int > parts, coupon_id int > coupons, sample_id int > samples, spectrum json_or_null"
    )
    add_columns("rinses", "kind text, dwell_min real")
    add_columns(
        "runs",
        "film_from_charge_um real, current_a real, voltage_v real, charge_ah real, anodise_min real, "
        "electrolyte_id int > electrolytes, agitation text, cathode text, trace json_or_null, started_at text, "
        "note text",
    )
