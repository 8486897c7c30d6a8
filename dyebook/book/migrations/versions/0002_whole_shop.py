"""The whole shop: orders, samples, targets, verdicts, tests, coupons, electrolyte, preparation, parts and seals."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def _kept():
    """What every table has."""
    return (
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
    )


def upgrade():
    op.create_table(
        "electrolytes",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("bath_volume_l", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_electrolytes")),
        sa.UniqueConstraint("name", name=op.f("uq_electrolytes_name")),
    )
    op.create_table(
        "orders",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("customer", sa.String(), nullable=True),
        sa.Column("words", sa.String(), nullable=True),
        sa.Column("price", sa.Double(), nullable=True),
        sa.Column("currency", sa.String(), nullable=True),
        sa.Column("due_on", sa.String(), nullable=True),
        sa.Column("skin_contact", sa.Boolean(), nullable=True),
        sa.Column("done_at", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_orders")),
        sa.UniqueConstraint("name", name=op.f("uq_orders_name")),
    )
    op.create_table(
        "electrolyte_events",
        sa.Column("electrolyte_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("bath_volume_l", sa.Double(), nullable=True),
        sa.Column("electrolyte_g_per_l", sa.Double(), nullable=True),
        sa.Column("dissolved_al_g_per_l", sa.Double(), nullable=True),
        sa.Column("chloride_mg_per_l", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(
            ["electrolyte_id"], ["electrolytes.id"], name=op.f("fk_electrolyte_events_electrolyte_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_electrolyte_events")),
    )
    op.create_index("ix_electrolyte_events_electrolyte_id", "electrolyte_events", ["electrolyte_id"])

    op.create_table(
        "samples",
        sa.Column("order_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["order_id"], ["orders.id"], name=op.f("fk_samples_order_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_samples")),
    )
    op.create_index("ix_samples_order_id", "samples", ["order_id"])

    op.create_table(
        "bath_events",
        sa.Column("bath_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("bath_volume_l", sa.Double(), nullable=True),
        sa.Column("dye_g_per_l", sa.Double(), nullable=True),
        sa.Column("ph", sa.Double(), nullable=True),
        sa.Column("bath_temp_c", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["bath_id"], ["baths.id"], name=op.f("fk_bath_events_bath_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bath_events")),
    )
    op.create_index("ix_bath_events_bath_id", "bath_events", ["bath_id"])

    op.create_table(
        "preparations",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), server_default="1", nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("dwell_min", sa.Double(), nullable=True),
        sa.Column("bath_temp_c", sa.Double(), nullable=True),
        sa.Column("passed", sa.Boolean(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_preparations_run_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_preparations")),
    )
    op.create_index("ix_preparations_run_id", "preparations", ["run_id"])

    op.create_table(
        "targets",
        sa.Column("order_id", sa.Integer(), nullable=True),
        sa.Column("sample_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("L", sa.Double(), nullable=False),
        sa.Column("a", sa.Double(), nullable=False),
        sa.Column("b", sa.Double(), nullable=False),
        sa.Column("tolerance_de00", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["order_id"], ["orders.id"], name=op.f("fk_targets_order_id")),
        sa.ForeignKeyConstraint(["sample_id"], ["samples.id"], name=op.f("fk_targets_sample_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_targets")),
    )
    op.create_index("ix_targets_order_id", "targets", ["order_id"])
    op.create_index("ix_targets_sample_id", "targets", ["sample_id"])

    op.create_table(
        "coupons",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("steps", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("made_at", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_coupons_batch_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coupons")),
    )
    op.create_index("ix_coupons_batch_id", "coupons", ["batch_id"])

    op.create_table(
        "order_items",
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=True),
        sa.Column("area_dm2", sa.Double(), nullable=True),
        sa.Column("alloy", sa.String(), nullable=True),
        sa.Column("finish", sa.String(), nullable=True),
        sa.Column("target_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["order_id"], ["orders.id"], name=op.f("fk_order_items_order_id")),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name=op.f("fk_order_items_target_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_items")),
    )
    op.create_index("ix_order_items_order_id", "order_items", ["order_id"])
    op.create_index("ix_order_items_target_id", "order_items", ["target_id"])

    op.create_table(
        "seals",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), server_default="1", nullable=False),
        sa.Column("kind", sa.String(), nullable=True),
        sa.Column("seal_temp_c", sa.Double(), nullable=True),
        sa.Column("dwell_min", sa.Double(), nullable=True),
        sa.Column("ph", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_seals_batch_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_seals")),
    )
    op.create_index("ix_seals_batch_id", "seals", ["batch_id"])

    op.create_table(
        "tests",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("method", sa.String(), nullable=True),
        sa.Column("result", sa.String(), nullable=True),
        sa.Column("rating", sa.Double(), nullable=True),
        sa.Column("passed", sa.Boolean(), nullable=True),
        sa.Column("tested_at", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_tests_batch_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tests")),
    )
    op.create_index("ix_tests_batch_id", "tests", ["batch_id"])

    op.create_table(
        "parts",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("order_item_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(), nullable=True),
        sa.Column("jig_place", sa.String(), nullable=True),
        sa.Column("pieces", sa.Integer(), nullable=True),
        sa.Column("area_dm2", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_parts_batch_id")),
        sa.ForeignKeyConstraint(["order_item_id"], ["order_items.id"], name=op.f("fk_parts_order_item_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_parts")),
    )
    op.create_index("ix_parts_batch_id", "parts", ["batch_id"])
    op.create_index("ix_parts_order_item_id", "parts", ["order_item_id"])

    op.create_table(
        "verdicts",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("target_id", sa.Integer(), nullable=True),
        sa.Column("reading_id", sa.Integer(), nullable=True),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("delta_e00", sa.Double(), nullable=True),
        sa.Column("decided_at", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        *_kept(),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_verdicts_batch_id")),
        sa.ForeignKeyConstraint(["reading_id"], ["readings.id"], name=op.f("fk_verdicts_reading_id")),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name=op.f("fk_verdicts_target_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_verdicts")),
    )
    op.create_index("ix_verdicts_batch_id", "verdicts", ["batch_id"])
    op.create_index("ix_verdicts_reading_id", "verdicts", ["reading_id"])
    op.create_index("ix_verdicts_target_id", "verdicts", ["target_id"])

    with op.batch_alter_table("batches", schema=None) as batch_op:
        batch_op.add_column(sa.Column("order_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("jig", sa.String(), nullable=True))
        batch_op.add_column(sa.Column("jig_stripped_at", sa.String(), nullable=True))
        batch_op.create_index(batch_op.f("ix_batches_order_id"), ["order_id"], unique=False)
        batch_op.create_foreign_key(batch_op.f("fk_batches_order_id"), "orders", ["order_id"], ["id"])

    with op.batch_alter_table("dips", schema=None) as batch_op:
        batch_op.add_column(sa.Column("note", sa.String(), nullable=True))

    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.add_column(sa.Column("part_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("coupon_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("sample_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("spectrum", sa.JSON(none_as_null=True), nullable=True))
        batch_op.create_index(batch_op.f("ix_readings_coupon_id"), ["coupon_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_part_id"), ["part_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_sample_id"), ["sample_id"], unique=False)
        batch_op.create_foreign_key(batch_op.f("fk_readings_sample_id"), "samples", ["sample_id"], ["id"])
        batch_op.create_foreign_key(batch_op.f("fk_readings_coupon_id"), "coupons", ["coupon_id"], ["id"])
        batch_op.create_foreign_key(batch_op.f("fk_readings_part_id"), "parts", ["part_id"], ["id"])

    with op.batch_alter_table("rinses", schema=None) as batch_op:
        batch_op.add_column(sa.Column("kind", sa.String(), nullable=True))
        batch_op.add_column(sa.Column("dwell_min", sa.Double(), nullable=True))

    with op.batch_alter_table("runs", schema=None) as batch_op:
        batch_op.add_column(sa.Column("film_from_charge_um", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("current_a", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("voltage_v", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("charge_ah", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("anodise_min", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("electrolyte_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("agitation", sa.String(), nullable=True))
        batch_op.add_column(sa.Column("cathode", sa.String(), nullable=True))
        batch_op.add_column(sa.Column("trace", sa.JSON(none_as_null=True), nullable=True))
        batch_op.add_column(sa.Column("started_at", sa.String(), nullable=True))
        batch_op.add_column(sa.Column("note", sa.String(), nullable=True))
        batch_op.create_index(batch_op.f("ix_runs_electrolyte_id"), ["electrolyte_id"], unique=False)
        batch_op.create_foreign_key(batch_op.f("fk_runs_electrolyte_id"), "electrolytes", ["electrolyte_id"], ["id"])
