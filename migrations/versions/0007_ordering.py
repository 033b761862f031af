"""ordering

Revision: 0007
After: 0006
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

OLD = ("placed", "part received", "received", "cancelled")
NEW = ("draft", "sent", "confirmed", "part received", "closed", "cancelled")
TABLES = (
    "lot_quarantine",
    "wanted",
    "supplier_price",
    "suggestion_override",
    "suggestion",
    "part_policy",
    "order_event",
    "supplier_terms",
    "stores_policy",
)
CHECK = "ck_purchase_order_order_status"


def upgrade() -> None:
    op.add_column("purchase_order", sa.Column("confirmed_on", sa.Date(), nullable=True))
    op.add_column("purchase_order", sa.Column("chased_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("stock_level", sa.Column("changes", sa.Integer(), server_default="0", nullable=False))
    _restate(NEW, {"placed": "sent", "received": "closed"})
    op.create_table(
        "stores_policy",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_cost", sa.BigInteger(), nullable=False),
        sa.Column("holding_share", sa.BigInteger(), nullable=False),
        sa.Column("review_days", sa.Integer(), nullable=False),
        sa.Column("service_a", sa.BigInteger(), nullable=False),
        sa.Column("service_b", sa.BigInteger(), nullable=False),
        sa.Column("service_c", sa.BigInteger(), nullable=False),
        sa.Column("service_critical", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("holding_share >= 0", name=op.f("ck_stores_policy_holding_share_not_negative")),
        sa.CheckConstraint("id = 1", name=op.f("ck_stores_policy_one_row")),
        sa.CheckConstraint("order_cost >= 0", name=op.f("ck_stores_policy_order_cost_not_negative")),
        sa.CheckConstraint("review_days >= 1", name=op.f("ck_stores_policy_review_days_positive")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stores_policy")),
    )
    op.create_table(
        "supplier_terms",
        sa.Column("supplier_id", sa.Integer(), nullable=False),
        sa.Column("minimum_value", sa.BigInteger(), nullable=False),
        sa.Column("freight", sa.BigInteger(), nullable=False),
        sa.Column("free_from", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["supplier_id"], ["supplier.id"], name=op.f("fk_supplier_terms_supplier_id_supplier")),
        sa.PrimaryKeyConstraint("supplier_id", name=op.f("pk_supplier_terms")),
    )
    op.create_table(
        "order_event",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("entry_id", sa.String(length=36), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=24), nullable=False),
        sa.Column("words", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["order_id"], ["purchase_order.id"], name=op.f("fk_order_event_order_id_purchase_order")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_order_event_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_event")),
        sa.UniqueConstraint("entry_id", "line", name=op.f("uq_order_event_entry_id_line")),
    )
    op.create_index("ix_order_event_order_id", "order_event", ["order_id"], unique=False)
    op.create_table(
        "part_policy",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("critical", sa.Boolean(), nullable=False),
        sa.Column("uses_per_job", sa.BigInteger(), nullable=False),
        sa.Column("jobs_per_device_year", sa.BigInteger(), nullable=False),
        sa.Column("devices", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_part_policy_part_id_part")),
        sa.PrimaryKeyConstraint("part_id", name=op.f("pk_part_policy")),
    )
    op.create_table(
        "suggestion",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("computed_on", sa.Date(), nullable=False),
        sa.Column("changes_seen", sa.Integer(), nullable=False),
        sa.Column("part_version", sa.Integer(), nullable=False),
        sa.Column("value_class", sa.String(length=1), nullable=False),
        sa.Column("by_hand", sa.Boolean(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("reorder_point", sa.Integer(), nullable=False),
        sa.Column("order_up_to", sa.Integer(), nullable=False),
        sa.Column("words", sa.String(length=600), nullable=False),
        sa.Column(
            "facts",
            sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql"),
            nullable=False,
        ),
        sa.Column(
            "before",
            sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql"),
            nullable=True,
        ),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_suggestion_quantity_not_negative")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_suggestion_part_id_part")),
        sa.PrimaryKeyConstraint("part_id", name=op.f("pk_suggestion")),
    )
    op.create_index("ix_suggestion_computed_on", "suggestion", ["computed_on"], unique=False)
    op.create_index(
        "ix_suggestion_due",
        "suggestion",
        ["part_id"],
        unique=False,
        sqlite_where=sa.text("quantity > 0"),
        postgresql_where=sa.text("quantity > 0"),
    )
    op.create_table(
        "suggestion_override",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("suggested", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=300), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_why", sa.String(length=300), nullable=False),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_suggestion_override_quantity_not_negative")),
        sa.ForeignKeyConstraint(["made_by"], ["person.id"], name=op.f("fk_suggestion_override_made_by_person")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_suggestion_override_part_id_part")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_suggestion_override")),
    )
    op.create_index("ix_suggestion_override_part_id", "suggestion_override", ["part_id"], unique=False)
    op.create_table(
        "supplier_price",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("supplier_id", sa.Integer(), nullable=False),
        sa.Column("from_quantity", sa.Integer(), nullable=False),
        sa.Column("unit_price", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("from_quantity >= 1", name=op.f("ck_supplier_price_from_quantity_positive")),
        sa.CheckConstraint("unit_price >= 0", name=op.f("ck_supplier_price_unit_price_not_negative")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_supplier_price_part_id_part")),
        sa.ForeignKeyConstraint(["supplier_id"], ["supplier.id"], name=op.f("fk_supplier_price_supplier_id_supplier")),
        sa.PrimaryKeyConstraint("part_id", "supplier_id", "from_quantity", name=op.f("pk_supplier_price")),
    )
    op.create_table(
        "wanted",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("source_ref", sa.String(length=64), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("on_day", sa.Date(), nullable=False),
        sa.Column("known_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_wanted_quantity_not_negative")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_wanted_part_id_part")),
        sa.PrimaryKeyConstraint("part_id", "source_ref", name=op.f("pk_wanted")),
    )
    op.create_index(
        "ix_wanted_open",
        "wanted",
        ["part_id"],
        unique=False,
        sqlite_where=sa.text("quantity > 0"),
        postgresql_where=sa.text("quantity > 0"),
    )
    op.create_index("ix_wanted_source_ref", "wanted", ["source_ref"], unique=False)
    op.create_table(
        "lot_quarantine",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=300), nullable=False),
        sa.Column("began_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("began_by", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by", sa.Integer(), nullable=True),
        sa.Column("end_reason", sa.String(length=300), nullable=False),
        sa.ForeignKeyConstraint(["began_by"], ["person.id"], name=op.f("fk_lot_quarantine_began_by_person")),
        sa.ForeignKeyConstraint(["ended_by"], ["person.id"], name=op.f("fk_lot_quarantine_ended_by_person")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lot_quarantine_lot_id_lot")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_quarantine")),
    )
    op.create_index("ix_lot_quarantine_lot_id", "lot_quarantine", ["lot_id"], unique=False)
    op.create_index(
        "ix_lot_quarantine_open",
        "lot_quarantine",
        ["lot_id"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )


def _restate(states: tuple[str, ...], words: dict[str, str]) -> None:
    """Give the orders' states other words. The CHECK is taken away first and comes back with the new words."""
    with op.batch_alter_table("purchase_order") as batch_op:
        batch_op.drop_constraint(op.f(CHECK), type_="check")
    for old, new in words.items():
        op.execute(sa.text("UPDATE purchase_order SET status = :new WHERE status = :old").bindparams(new=new, old=old))
    condition = "status IN (" + ", ".join(f"'{state}'" for state in states) + ")"
    with op.batch_alter_table("purchase_order") as batch_op:
        batch_op.create_check_constraint(op.f(CHECK), condition)


def downgrade() -> None:
    for table in TABLES:
        op.drop_table(table)
    op.execute(
        "DELETE FROM purchase_order_line WHERE order_id IN (SELECT id FROM purchase_order WHERE status = 'draft')"
    )
    op.execute("DELETE FROM purchase_order WHERE status = 'draft'")
    _restate(OLD, {"sent": "placed", "confirmed": "placed", "closed": "received"})
    op.drop_column("stock_level", "changes")
    op.drop_column("purchase_order", "chased_at")
    op.drop_column("purchase_order", "confirmed_on")
