"""alternates

Revision: 0009
After: 0008
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "alternate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("alternate_id", sa.Integer(), nullable=False),
        sa.Column("both_ways", sa.Boolean(), nullable=False),
        sa.Column("fits_from", sa.String(length=120), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "proposed",
                "approved",
                "withdrawn",
                name="alternate_state",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("reason", sa.String(length=300), nullable=False),
        sa.Column("proposed_by", sa.Integer(), nullable=True),
        sa.Column("proposed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("decided_by", sa.Integer(), nullable=True),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("part_id <> alternate_id", name=op.f("ck_alternate_another_part")),
        sa.ForeignKeyConstraint(["alternate_id"], ["part.id"], name=op.f("fk_alternate_alternate_id_part")),
        sa.ForeignKeyConstraint(["decided_by"], ["person.id"], name=op.f("fk_alternate_decided_by_person")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_alternate_part_id_part")),
        sa.ForeignKeyConstraint(["proposed_by"], ["person.id"], name=op.f("fk_alternate_proposed_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alternate")),
        sa.UniqueConstraint("part_id", "alternate_id", name=op.f("uq_alternate_part_id_alternate_id")),
    )
    op.create_index(op.f("ix_alternate_alternate_id"), "alternate", ["alternate_id"], unique=False)
    op.create_table(
        "alternate_event",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("entry_id", sa.String(length=36), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("alternate_id", sa.Integer(), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "proposed",
                "approved",
                "withdrawn",
                name="alternate_state",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("both_ways", sa.Boolean(), nullable=False),
        sa.Column("fits_from", sa.String(length=120), nullable=False),
        sa.Column("reason", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["alternate_id"], ["part.id"], name=op.f("fk_alternate_event_alternate_id_part")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_alternate_event_part_id_part")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_alternate_event_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alternate_event")),
        sa.UniqueConstraint("entry_id", name=op.f("uq_alternate_event_entry_id")),
    )
    op.create_index("ix_alternate_event_part_id", "alternate_event", ["part_id", "alternate_id"], unique=False)
    op.create_table(
        "unit_terms",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "consumed",
                "rotable",
                "exchange",
                name="unit_kind",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("core_charge", sa.BigInteger(), nullable=False),
        sa.Column("core_days", sa.Integer(), nullable=False),
        sa.CheckConstraint("core_charge >= 0", name=op.f("ck_unit_terms_core_charge_not_negative")),
        sa.CheckConstraint("core_days >= 1", name=op.f("ck_unit_terms_core_days_positive")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_unit_terms_part_id_part")),
        sa.PrimaryKeyConstraint("part_id", name=op.f("pk_unit_terms")),
    )
    op.create_table(
        "old_unit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=16), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=48), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "consumed",
                "rotable",
                "exchange",
                name="unit_kind",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column(
            "state",
            sa.Enum(
                "waits",
                "in repair",
                "stock again",
                "scrapped",
                "owed",
                "on its way",
                "accepted",
                "charged",
                name="unit_state",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("defective_cell", sa.Boolean(), nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=False),
        sa.Column("source_ref", sa.String(length=64), nullable=False),
        sa.Column("came_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("core_charge", sa.BigInteger(), nullable=False),
        sa.Column("repair_cost", sa.BigInteger(), nullable=True),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("core_charge >= 0", name=op.f("ck_old_unit_core_charge_not_negative")),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"], name=op.f("fk_old_unit_location_id_location")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_old_unit_lot_id_lot")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_old_unit_part_id_part")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_old_unit")),
        sa.UniqueConstraint("number", name=op.f("uq_old_unit_number")),
    )
    op.create_index(op.f("ix_old_unit_location_id"), "old_unit", ["location_id"], unique=False)
    op.create_index(
        "ix_old_unit_open",
        "old_unit",
        ["id"],
        unique=False,
        sqlite_where=sa.text("state IN ('waits', 'in repair', 'owed', 'on its way')"),
        postgresql_where=sa.text("state IN ('waits', 'in repair', 'owed', 'on its way')"),
    )
    op.create_index(op.f("ix_old_unit_part_id"), "old_unit", ["part_id"], unique=False)
    op.create_index("ix_old_unit_source_ref", "old_unit", ["source_ref"], unique=False)
    op.create_table(
        "supplier_return",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=16), nullable=False),
        sa.Column("entry_id", sa.String(length=36), nullable=False),
        sa.Column("supplier_id", sa.Integer(), nullable=False),
        sa.Column("order_number", sa.String(length=16), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column(
            "reason",
            sa.Enum(
                "wrong goods",
                "faulty",
                "more than ordered",
                name="return_reason",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("words", sa.String(length=300), nullable=False),
        sa.Column("replaced", sa.Boolean(), nullable=False),
        sa.Column("expected", sa.BigInteger(), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "sent",
                "credited",
                "refused",
                "replaced",
                name="return_state",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("credited", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.String(length=300), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_by", sa.Integer(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_by", sa.Integer(), nullable=True),
        sa.CheckConstraint("credited >= 0", name=op.f("ck_supplier_return_credited_not_negative")),
        sa.CheckConstraint("expected >= 0", name=op.f("ck_supplier_return_expected_not_negative")),
        sa.CheckConstraint("quantity >= 1", name=op.f("ck_supplier_return_quantity_positive")),
        sa.ForeignKeyConstraint(["closed_by"], ["person.id"], name=op.f("fk_supplier_return_closed_by_person")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_supplier_return_lot_id_lot")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_supplier_return_part_id_part")),
        sa.ForeignKeyConstraint(["sent_by"], ["person.id"], name=op.f("fk_supplier_return_sent_by_person")),
        sa.ForeignKeyConstraint(["supplier_id"], ["supplier.id"], name=op.f("fk_supplier_return_supplier_id_supplier")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supplier_return")),
        sa.UniqueConstraint("entry_id", name=op.f("uq_supplier_return_entry_id")),
        sa.UniqueConstraint("number", name=op.f("uq_supplier_return_number")),
    )
    op.create_index(op.f("ix_supplier_return_lot_id"), "supplier_return", ["lot_id"], unique=False)
    op.create_index(
        "ix_supplier_return_open",
        "supplier_return",
        ["id"],
        unique=False,
        sqlite_where=sa.text("state = 'sent'"),
        postgresql_where=sa.text("state = 'sent'"),
    )
    op.create_index(op.f("ix_supplier_return_supplier_id"), "supplier_return", ["supplier_id"], unique=False)
    op.create_table(
        "kit_stand_in",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("part_number", sa.String(length=32), nullable=False),
        sa.Column("alternate", sa.String(length=32), nullable=False),
        sa.Column("planned", sa.Integer(), nullable=False),
        sa.Column("added", sa.Integer(), nullable=False),
        sa.CheckConstraint("planned >= 0 AND added >= 0", name=op.f("ck_kit_stand_in_not_negative")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_kit_stand_in_job_id_job")),
        sa.PrimaryKeyConstraint("job_id", "part_number", "alternate", name=op.f("pk_kit_stand_in")),
    )
    op.create_table(
        "old_unit_event",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("entry_id", sa.String(length=36), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("deed", sa.String(length=16), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "waits",
                "in repair",
                "stock again",
                "scrapped",
                "owed",
                "on its way",
                "accepted",
                "charged",
                name="unit_state",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("words", sa.String(length=300), nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=False),
        sa.Column("cost", sa.BigInteger(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"], name=op.f("fk_old_unit_event_location_id_location")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_old_unit_event_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["old_unit.id"], name=op.f("fk_old_unit_event_unit_id_old_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_old_unit_event")),
        sa.UniqueConstraint("entry_id", "line", name=op.f("uq_old_unit_event_entry_id_line")),
    )
    op.create_index("ix_old_unit_event_unit_id", "old_unit_event", ["unit_id"], unique=False)
    op.add_column(
        "part_use", sa.Column("in_place_of", sa.String(length=32), server_default=sa.text("''"), nullable=False)
    )


def downgrade() -> None:
    op.drop_column("part_use", "in_place_of")
    op.drop_index("ix_old_unit_event_unit_id", table_name="old_unit_event")
    op.drop_table("old_unit_event")
    op.drop_table("kit_stand_in")
    op.drop_index(op.f("ix_supplier_return_supplier_id"), table_name="supplier_return")
    op.drop_index("ix_supplier_return_open", table_name="supplier_return")
    op.drop_index(op.f("ix_supplier_return_lot_id"), table_name="supplier_return")
    op.drop_table("supplier_return")
    op.drop_index("ix_old_unit_source_ref", table_name="old_unit")
    op.drop_index(op.f("ix_old_unit_part_id"), table_name="old_unit")
    op.drop_index("ix_old_unit_open", table_name="old_unit")
    op.drop_index(op.f("ix_old_unit_location_id"), table_name="old_unit")
    op.drop_table("old_unit")
    op.drop_table("unit_terms")
    op.drop_index("ix_alternate_event_part_id", table_name="alternate_event")
    op.drop_table("alternate_event")
    op.drop_index(op.f("ix_alternate_alternate_id"), table_name="alternate")
    op.drop_table("alternate")
