"""The whole shop: orders, samples, targets, verdicts, tests, coupons, electrolyte, preparation, parts and seals."""

import sqlalchemy as sa
from alembic import op

from dyebook.book.migrations.versions import kept, optional, required

revision = "0002"
down_revision = "0001"


def upgrade():
    op.create_table(
        "electrolytes",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("bath_volume_l", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        *kept("electrolytes"),
        sa.UniqueConstraint("name", name=op.f("uq_electrolytes_name")),
    )
    op.create_table(
        "orders",
        sa.Column("name", sa.String(), nullable=False),
        *optional(sa.String(), "customer", "words"),
        sa.Column("price", sa.Double(), nullable=True),
        *optional(sa.String(), "currency", "due_on"),
        sa.Column("skin_contact", sa.Boolean(), nullable=True),
        *optional(sa.String(), "done_at", "note"),
        *kept("orders"),
        sa.UniqueConstraint("name", name=op.f("uq_orders_name")),
    )
    op.create_table(
        "electrolyte_events",
        sa.Column("electrolyte_id", sa.Integer(), nullable=False),
        *required(sa.String(), "at", "kind"),
        *optional(sa.Double(), "bath_volume_l", "electrolyte_g_per_l", "dissolved_al_g_per_l", "chloride_mg_per_l"),
        sa.Column("note", sa.String(), nullable=True),
        *kept("electrolyte_events"),
        sa.ForeignKeyConstraint(
            ["electrolyte_id"], ["electrolytes.id"], name=op.f("fk_electrolyte_events_electrolyte_id")
        ),
    )
    op.create_index("ix_electrolyte_events_electrolyte_id", "electrolyte_events", ["electrolyte_id"])

    op.create_table(
        "samples",
        sa.Column("order_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=True),
        *kept("samples"),
        sa.ForeignKeyConstraint(["order_id"], ["orders.id"], name=op.f("fk_samples_order_id")),
    )
    op.create_index("ix_samples_order_id", "samples", ["order_id"])

    op.create_table(
        "bath_events",
        sa.Column("bath_id", sa.Integer(), nullable=False),
        *required(sa.String(), "at", "kind"),
        *optional(sa.Double(), "bath_volume_l", "dye_g_per_l", "ph", "bath_temp_c"),
        sa.Column("note", sa.String(), nullable=True),
        *kept("bath_events"),
        sa.ForeignKeyConstraint(["bath_id"], ["baths.id"], name=op.f("fk_bath_events_bath_id")),
    )
    op.create_index("ix_bath_events_bath_id", "bath_events", ["bath_id"])

    op.create_table(
        "preparations",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), server_default="1", nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        *optional(sa.Double(), "dwell_min", "bath_temp_c"),
        sa.Column("passed", sa.Boolean(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        *kept("preparations"),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_preparations_run_id")),
    )
    op.create_index("ix_preparations_run_id", "preparations", ["run_id"])

    op.create_table(
        "targets",
        *optional(sa.Integer(), "order_id", "sample_id"),
        sa.Column("name", sa.String(), nullable=False),
        *required(sa.Double(), "L", "a", "b"),
        sa.Column("tolerance_de00", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        *kept("targets"),
        sa.ForeignKeyConstraint(["order_id"], ["orders.id"], name=op.f("fk_targets_order_id")),
        sa.ForeignKeyConstraint(["sample_id"], ["samples.id"], name=op.f("fk_targets_sample_id")),
    )
    op.create_index("ix_targets_order_id", "targets", ["order_id"])
    op.create_index("ix_targets_sample_id", "targets", ["sample_id"])

    op.create_table(
        "coupons",
        *required(sa.String(), "name", "kind"),
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("steps", sa.JSON(none_as_null=True), nullable=True),
        *optional(sa.String(), "made_at", "note"),
        *kept("coupons"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_coupons_batch_id")),
    )
    op.create_index("ix_coupons_batch_id", "coupons", ["batch_id"])

    op.create_table(
        "order_items",
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=True),
        sa.Column("area_dm2", sa.Double(), nullable=True),
        *optional(sa.String(), "alloy", "finish"),
        sa.Column("target_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        *kept("order_items"),
        sa.ForeignKeyConstraint(["order_id"], ["orders.id"], name=op.f("fk_order_items_order_id")),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name=op.f("fk_order_items_target_id")),
    )
    op.create_index("ix_order_items_order_id", "order_items", ["order_id"])
    op.create_index("ix_order_items_target_id", "order_items", ["target_id"])

    op.create_table(
        "seals",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), server_default="1", nullable=False),
        sa.Column("kind", sa.String(), nullable=True),
        *optional(sa.Double(), "seal_temp_c", "dwell_min", "ph"),
        sa.Column("note", sa.String(), nullable=True),
        *kept("seals"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_seals_batch_id")),
    )
    op.create_index("ix_seals_batch_id", "seals", ["batch_id"])

    op.create_table(
        "tests",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        *optional(sa.String(), "method", "result"),
        sa.Column("rating", sa.Double(), nullable=True),
        sa.Column("passed", sa.Boolean(), nullable=True),
        *optional(sa.String(), "tested_at", "note"),
        *kept("tests"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_tests_batch_id")),
    )
    op.create_index("ix_tests_batch_id", "tests", ["batch_id"])

    op.create_table(
        "parts",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("order_item_id", sa.Integer(), nullable=True),
        *optional(sa.String(), "name", "jig_place"),
        sa.Column("pieces", sa.Integer(), nullable=True),
        sa.Column("area_dm2", sa.Double(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        *kept("parts"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_parts_batch_id")),
        sa.ForeignKeyConstraint(["order_item_id"], ["order_items.id"], name=op.f("fk_parts_order_item_id")),
    )
    op.create_index("ix_parts_batch_id", "parts", ["batch_id"])
    op.create_index("ix_parts_order_item_id", "parts", ["order_item_id"])

    op.create_table(
        "verdicts",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        *optional(sa.Integer(), "target_id", "reading_id"),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("delta_e00", sa.Double(), nullable=True),
        *optional(sa.String(), "decided_at", "note"),
        *kept("verdicts"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_verdicts_batch_id")),
        sa.ForeignKeyConstraint(["reading_id"], ["readings.id"], name=op.f("fk_verdicts_reading_id")),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name=op.f("fk_verdicts_target_id")),
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
