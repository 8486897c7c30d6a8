"""The first book: dyes, baths, runs, batches, dips, rinses, photos, readings, settings, history."""

from alembic import op

from dyebook.book.migrations import make_table

revision = "0001"
down_revision = None


def upgrade():
    make_table("dyes", "name text!, note text", "name")
    make_table(
        "history",
        "id int!, at text!, who text!, table text!, row_id int, action text!, old json, new json",
        key="id",
        kept="",
    )
    op.create_index("ix_history_table_row_id", "history", ["table", "row_id"])
    make_table(
        "runs",
        "film_um real, film_measured_um real, film_sd_um real, area_dm2 real, current_density_a_per_dm2 real, "
        "electrolyte_temp_c real, alloy text, finish text",
    )
    make_table("settings", "key text!, value json", key="key", kept="")
    make_table("batches", "run_id int > runs, replaces_id int > batches, dyed_at text, note text")
    make_table("baths", "name text!, dye_id int! > dyes, bath_volume_l real, note text", "name", "dye_id")
    make_table(
        "dips",
        "batch_id int! > batches, position int! =1, dye_id int! > dyes, bath_id int > baths, dye_g_per_l real, "
        "bath_temp_c real, dwell_min real, ph real, masked text",
    )
    make_table(
        "photos",
        "batch_id int > batches, sha256 text! *, name text, size_bytes int!, taken_at text, note text",
        "sha256",
        "batch_id",
    )
    make_table("rinses", "batch_id int! > batches, position int! =1, rinse_temp_c real, note text")
    make_table(
        "readings",
        "batch_id int > batches, dip_id int > dips, photo_id int > photos, source text!, part_index int, L real!, "
        "a real!, b real!, L_sd real, a_sd real, b_sd real, L_spread real, a_spread real, b_spread real, "
        "wet bool, sealed bool, uniformity real, area_mm2 real, flags json, flaws json, outline json, card json, "
        "camera text, measured_with json, read_at text, note text",
    )
