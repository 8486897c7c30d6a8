"""The first book: dyes, baths, runs, batches, dips, rinses, photos, readings, settings, history."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade():
    op.create_table(
        "dyes",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dyes")),
        sa.UniqueConstraint("name", name=op.f("uq_dyes_name")),
    )
    op.create_table(
        "history",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("table", sa.String(), nullable=False),
        sa.Column("row_id", sa.Integer(), nullable=True),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("old", sa.JSON(), nullable=True),
        sa.Column("new", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_history")),
    )
    with op.batch_alter_table("history", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_history_table_row_id"), ["table", "row_id"], unique=False)

    op.create_table(
        "runs",
        sa.Column("film_um", sa.Double(), nullable=True),
        sa.Column("film_measured_um", sa.Double(), nullable=True),
        sa.Column("film_sd_um", sa.Double(), nullable=True),
        sa.Column("area_dm2", sa.Double(), nullable=True),
        sa.Column("current_density_a_per_dm2", sa.Double(), nullable=True),
        sa.Column("electrolyte_temp_c", sa.Double(), nullable=True),
        sa.Column("alloy", sa.String(), nullable=True),
        sa.Column("finish", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_runs")),
    )
    op.create_table(
        "settings",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("value", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_settings")),
    )
    op.create_table(
        "batches",
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("dyed_at", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["replaces_id"], ["batches.id"], name=op.f("fk_batches_replaces_id")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_batches_run_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batches")),
    )
    with op.batch_alter_table("batches", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_batches_replaces_id"), ["replaces_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_batches_run_id"), ["run_id"], unique=False)

    op.create_table(
        "baths",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("dye_id", sa.Integer(), nullable=False),
        sa.Column("bath_volume_l", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["dye_id"], ["dyes.id"], name=op.f("fk_baths_dye_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_baths")),
        sa.UniqueConstraint("name", "dye_id", name=op.f("uq_baths_name_dye_id")),
    )
    with op.batch_alter_table("baths", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_baths_dye_id"), ["dye_id"], unique=False)

    op.create_table(
        "dips",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), server_default="1", nullable=False),
        sa.Column("dye_id", sa.Integer(), nullable=False),
        sa.Column("bath_id", sa.Integer(), nullable=True),
        sa.Column("dye_g_per_l", sa.Double(), nullable=True),
        sa.Column("bath_temp_c", sa.Double(), nullable=True),
        sa.Column("dwell_min", sa.Double(), nullable=True),
        sa.Column("ph", sa.Double(), nullable=True),
        sa.Column("masked", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_dips_batch_id")),
        sa.ForeignKeyConstraint(["bath_id"], ["baths.id"], name=op.f("fk_dips_bath_id")),
        sa.ForeignKeyConstraint(["dye_id"], ["dyes.id"], name=op.f("fk_dips_dye_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dips")),
    )
    with op.batch_alter_table("dips", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_dips_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dips_bath_id"), ["bath_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dips_dye_id"), ["dye_id"], unique=False)

    op.create_table(
        "photos",
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=True),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_photos_batch_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos")),
        sa.UniqueConstraint("sha256", "batch_id", name=op.f("uq_photos_sha256_batch_id")),
    )
    with op.batch_alter_table("photos", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photos_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_photos_sha256"), ["sha256"], unique=False)

    op.create_table(
        "rinses",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), server_default="1", nullable=False),
        sa.Column("rinse_temp_c", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_rinses_batch_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rinses")),
    )
    with op.batch_alter_table("rinses", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_rinses_batch_id"), ["batch_id"], unique=False)

    op.create_table(
        "readings",
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("dip_id", sa.Integer(), nullable=True),
        sa.Column("photo_id", sa.Integer(), nullable=True),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("part_index", sa.Integer(), nullable=True),
        sa.Column("L", sa.Double(), nullable=False),
        sa.Column("a", sa.Double(), nullable=False),
        sa.Column("b", sa.Double(), nullable=False),
        sa.Column("L_sd", sa.Double(), nullable=True),
        sa.Column("a_sd", sa.Double(), nullable=True),
        sa.Column("b_sd", sa.Double(), nullable=True),
        sa.Column("L_spread", sa.Double(), nullable=True),
        sa.Column("a_spread", sa.Double(), nullable=True),
        sa.Column("b_spread", sa.Double(), nullable=True),
        sa.Column("wet", sa.Boolean(), nullable=True),
        sa.Column("sealed", sa.Boolean(), nullable=True),
        sa.Column("uniformity", sa.Double(), nullable=True),
        sa.Column("area_mm2", sa.Double(), nullable=True),
        sa.Column("flags", sa.JSON(), nullable=True),
        sa.Column("flaws", sa.JSON(), nullable=True),
        sa.Column("outline", sa.JSON(), nullable=True),
        sa.Column("card", sa.JSON(), nullable=True),
        sa.Column("camera", sa.String(), nullable=True),
        sa.Column("measured_with", sa.JSON(), nullable=True),
        sa.Column("read_at", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_readings_batch_id")),
        sa.ForeignKeyConstraint(["dip_id"], ["dips.id"], name=op.f("fk_readings_dip_id")),
        sa.ForeignKeyConstraint(["photo_id"], ["photos.id"], name=op.f("fk_readings_photo_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
    )
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_readings_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_dip_id"), ["dip_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_photo_id"), ["photo_id"], unique=False)
