"""spares

Revision: 0010
After: 0009
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

BIG_ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "spare_decision",
        sa.Column("id", BIG_ID, nullable=False),
        sa.Column("entry_id", sa.String(length=36), nullable=False),
        sa.Column("procedure_code", sa.String(length=48), nullable=False),
        sa.Column("step", sa.String(length=48), nullable=False),
        sa.Column("part_number", sa.String(length=32), nullable=False),
        sa.Column("factor", sa.BigInteger(), nullable=False),
        sa.Column("words", sa.String(length=300), nullable=False),
        sa.Column("reason", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("factor >= 0", name=op.f("ck_spare_decision_factor_not_negative")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_spare_decision_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spare_decision")),
        sa.UniqueConstraint("entry_id", name=op.f("uq_spare_decision_entry_id")),
    )
    op.create_index("ix_spare_decision_procedure_code_id", "spare_decision", ["procedure_code", "id"])
    op.create_table(
        "supposed_use",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("uses_per_job", sa.BigInteger(), nullable=False),
        sa.Column("jobs_per_device_year", sa.BigInteger(), nullable=False),
        sa.Column("devices", sa.Integer(), nullable=False),
        sa.Column("words", sa.String(length=300), nullable=False),
        sa.Column("computed_on", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_supposed_use_part_id_part")),
        sa.PrimaryKeyConstraint("part_id", name=op.f("pk_supposed_use")),
    )
    op.drop_index("ix_suggestion_computed_on", "suggestion")
    op.create_index("ix_suggestion_seen", "suggestion", ["computed_on", "part_id", "part_version", "changes_seen"])
    with op.batch_alter_table("kit_line") as batch_op:
        batch_op.add_column(sa.Column("spare", sa.Integer(), server_default="0", nullable=False))
        batch_op.create_check_constraint(op.f("ck_kit_line_spare_not_negative"), "spare >= 0")


def downgrade() -> None:
    with op.batch_alter_table("kit_line") as batch_op:
        batch_op.drop_constraint(op.f("ck_kit_line_spare_not_negative"), type_="check")
        batch_op.drop_column("spare")
    op.drop_index("ix_suggestion_seen", "suggestion")
    op.create_index("ix_suggestion_computed_on", "suggestion", ["computed_on"])
    op.drop_table("supposed_use")
    op.drop_index("ix_spare_decision_procedure_code_id", "spare_decision")
    op.drop_table("spare_decision")
