"""The first book: dyes, baths, runs, batches, dips, rinses, photos, readings, settings, history."""

import sqlalchemy as sa
from alembic import op

from dyebook.book.migrations.versions import kept, optional, required

revision = "0001"
down_revision = None


def upgrade():
    op.create_table(
        "dyes",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=True),
        *kept("dyes"),
        sa.UniqueConstraint("name", name=op.f("uq_dyes_name")),
    )
    op.create_table(
        "history",
        sa.Column("id", sa.Integer(), nullable=False),
        *required(sa.String(), "at", "who", "table"),
        sa.Column("row_id", sa.Integer(), nullable=True),
        sa.Column("action", sa.String(), nullable=False),
        *optional(sa.JSON(), "old", "new"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_history")),
    )
    with op.batch_alter_table("history", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_history_table_row_id"), ["table", "row_id"], unique=False)

    op.create_table(
        "runs",
        *optional(
            sa.Double(),
            "film_um",
            "film_measured_um",
            "film_sd_um",
            "area_dm2",
            "current_density_a_per_dm2",
            "electrolyte_temp_c",
        ),
        *optional(sa.String(), "alloy", "finish"),
        *kept("runs"),
    )
    op.create_table(
        "settings",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("value", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_settings")),
    )
    op.create_table(
        "batches",
        *optional(sa.Integer(), "run_id", "replaces_id"),
        *optional(sa.String(), "dyed_at", "note"),
        *kept("batches"),
        sa.ForeignKeyConstraint(["replaces_id"], ["batches.id"], name=op.f("fk_batches_replaces_id")),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_batches_run_id")),
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
        *kept("baths"),
        sa.ForeignKeyConstraint(["dye_id"], ["dyes.id"], name=op.f("fk_baths_dye_id")),
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
        *optional(sa.Double(), "dye_g_per_l", "bath_temp_c", "dwell_min", "ph"),
        sa.Column("masked", sa.String(), nullable=True),
        *kept("dips"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_dips_batch_id")),
        sa.ForeignKeyConstraint(["bath_id"], ["baths.id"], name=op.f("fk_dips_bath_id")),
        sa.ForeignKeyConstraint(["dye_id"], ["dyes.id"], name=op.f("fk_dips_dye_id")),
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
        *optional(sa.String(), "taken_at", "note"),
        *kept("photos"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_photos_batch_id")),
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
        *kept("rinses"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_rinses_batch_id")),
    )
    with op.batch_alter_table("rinses", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_rinses_batch_id"), ["batch_id"], unique=False)

    op.create_table(
        "readings",
        *optional(sa.Integer(), "batch_id", "dip_id", "photo_id"),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("part_index", sa.Integer(), nullable=True),
        *required(sa.Double(), "L", "a", "b"),
        *optional(sa.Double(), "L_sd", "a_sd", "b_sd", "L_spread", "a_spread", "b_spread"),
        *optional(sa.Boolean(), "wet", "sealed"),
        *optional(sa.Double(), "uniformity", "area_mm2"),
        *optional(sa.JSON(), "flags", "flaws", "outline", "card"),
        sa.Column("camera", sa.String(), nullable=True),
        sa.Column("measured_with", sa.JSON(), nullable=True),
        *optional(sa.String(), "read_at", "note"),
        *kept("readings"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_readings_batch_id")),
        sa.ForeignKeyConstraint(["dip_id"], ["dips.id"], name=op.f("fk_readings_dip_id")),
        sa.ForeignKeyConstraint(["photo_id"], ["photos.id"], name=op.f("fk_readings_photo_id")),
    )
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_readings_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_dip_id"), ["dip_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_photo_id"), ["photo_id"], unique=False)
