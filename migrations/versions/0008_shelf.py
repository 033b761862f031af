"""shelf

Revision: 0008
After: 0007
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "count_policy",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("days_a", sa.Integer(), nullable=False),
        sa.Column("days_b", sa.Integer(), nullable=False),
        sa.Column("days_c", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("days_a >= 1 AND days_b >= 1 AND days_c >= 1", name=op.f("ck_count_policy_days_positive")),
        sa.CheckConstraint("id = 1", name=op.f("ck_count_policy_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_count_policy")),
    )
    op.create_table(
        "import_columns",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column(
            "columns",
            sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql"),
            nullable=False,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_columns")),
        sa.UniqueConstraint("kind", name=op.f("uq_import_columns_kind")),
    )
    op.create_table(
        "part_keeping",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("open_life_days", sa.Integer(), nullable=True),
        sa.Column("storage", sa.String(length=120), nullable=False),
        sa.CheckConstraint("open_life_days >= 1", name=op.f("ck_part_keeping_open_life_positive")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_part_keeping_part_id_part")),
        sa.PrimaryKeyConstraint("part_id", name=op.f("pk_part_keeping")),
    )
    op.create_table(
        "lot_opening",
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("opened_on", sa.Date(), nullable=False),
        sa.Column("printed", sa.Date(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lot_opening_lot_id_lot")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_lot_opening_person_id_person")),
        sa.PrimaryKeyConstraint("lot_id", name=op.f("pk_lot_opening")),
    )
    op.create_table(
        "pick_claim",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source_ref", sa.String(length=64), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("serials", sa.String(length=2000), nullable=False),
        sa.Column("scanned", sa.Boolean(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("outcome", sa.String(length=12), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("outcome IN ('', 'handed out', 'put back')", name=op.f("ck_pick_claim_outcome_known")),
        sa.CheckConstraint("quantity >= 1", name=op.f("ck_pick_claim_quantity_positive")),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"], name=op.f("fk_pick_claim_location_id_location")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_pick_claim_lot_id_lot")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_pick_claim_part_id_part")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_pick_claim_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pick_claim")),
    )
    op.create_index(
        "ix_pick_claim_open",
        "pick_claim",
        ["source_ref", "lot_id", "location_id"],
        unique=True,
        sqlite_where=sa.text("outcome = ''"),
        postgresql_where=sa.text("outcome = ''"),
    )
    op.create_index(
        "ix_pick_claim_open_part",
        "pick_claim",
        ["part_id"],
        unique=False,
        sqlite_where=sa.text("outcome = ''"),
        postgresql_where=sa.text("outcome = ''"),
    )
    op.create_table(
        "short_pick",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source_ref", sa.String(length=64), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=False),
        sa.Column("wanted", sa.Integer(), nullable=False),
        sa.Column("found", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=300), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("found >= 0 AND found < wanted", name=op.f("ck_short_pick_found_less")),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"], name=op.f("fk_short_pick_location_id_location")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_short_pick_lot_id_lot")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_short_pick_part_id_part")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_short_pick_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_short_pick")),
    )
    op.create_index(
        "ix_short_pick_open",
        "short_pick",
        ["location_id"],
        unique=False,
        sqlite_where=sa.text("settled_at IS NULL"),
        postgresql_where=sa.text("settled_at IS NULL"),
    )
    op.create_table(
        "stocktake_count",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stocktake_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("counted", sa.Integer(), nullable=False),
        sa.Column("book", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("counted >= 0", name=op.f("ck_stocktake_count_counted_not_negative")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_stocktake_count_lot_id_lot")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_stocktake_count_person_id_person")),
        sa.ForeignKeyConstraint(
            ["stocktake_id"], ["stocktake.id"], name=op.f("fk_stocktake_count_stocktake_id_stocktake")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stocktake_count")),
    )
    op.create_index("ix_stocktake_count_stocktake_id", "stocktake_count", ["stocktake_id"], unique=False)
    op.add_column("stocktake", sa.Column("blind", sa.Boolean(), server_default=sa.false(), nullable=False))


def downgrade() -> None:
    op.drop_column("stocktake", "blind")
    op.drop_index("ix_stocktake_count_stocktake_id", table_name="stocktake_count")
    op.drop_table("stocktake_count")
    op.drop_index("ix_short_pick_open", table_name="short_pick")
    op.drop_table("short_pick")
    op.drop_index("ix_pick_claim_open_part", table_name="pick_claim")
    op.drop_index("ix_pick_claim_open", table_name="pick_claim")
    op.drop_table("pick_claim")
    op.drop_table("lot_opening")
    op.drop_table("part_keeping")
    op.drop_table("import_columns")
    op.drop_table("count_policy")
