"""promises

Revision: 0006
After: 0005
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_JSON = sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql")


def upgrade() -> None:
    op.add_column("job", sa.Column("device_value", sa.BigInteger(), nullable=True))
    op.add_column("job", sa.Column("median_s", sa.Integer(), nullable=True))
    op.add_column("job", sa.Column("p80_s", sa.Integer(), nullable=True))
    op.add_column("job", sa.Column("promise", _JSON, nullable=True))
    op.add_column("fault", sa.Column("also", _JSON, server_default="[]", nullable=False))
    op.add_column("fault", sa.Column("formerly", _JSON, server_default="[]", nullable=False))
    op.create_table(
        "step_time",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("procedure_code", sa.String(length=48), nullable=False),
        sa.Column("side", sa.String(length=4), nullable=False),
        sa.Column("step", sa.String(length=48), nullable=False),
        sa.Column("seconds", sa.Integer(), nullable=False),
        sa.CheckConstraint("seconds >= 1", name=op.f("ck_step_time_seconds_positive")),
        sa.CheckConstraint("side IN ('down', 'up')", name=op.f("ck_step_time_side_known")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_step_time_job_id_job")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_step_time")),
    )
    op.create_index(op.f("ix_step_time_job_id"), "step_time", ["job_id"], unique=False)
    op.create_index("ix_step_time_procedure_code_id", "step_time", ["procedure_code", "id"], unique=False)
    op.create_table(
        "site_day",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("is_open", sa.Boolean(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["entered_by"], ["person.id"], name=op.f("fk_site_day_entered_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site_day")),
        sa.UniqueConstraint("day", name=op.f("uq_site_day_day")),
    )
    op.create_table(
        "repair_facts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("procedure_id", sa.Integer(), nullable=False),
        sa.Column("facts", _JSON, nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_by", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entered_by"], ["person.id"], name=op.f("fk_repair_facts_entered_by_person")),
        sa.ForeignKeyConstraint(
            ["procedure_id"], ["procedure.id"], name=op.f("fk_repair_facts_procedure_id_procedure")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_repair_facts")),
        sa.UniqueConstraint("procedure_id", name=op.f("uq_repair_facts_procedure_id")),
    )


def downgrade() -> None:
    op.drop_table("repair_facts")
    op.drop_table("site_day")
    op.drop_index("ix_step_time_procedure_code_id", table_name="step_time")
    op.drop_index(op.f("ix_step_time_job_id"), table_name="step_time")
    op.drop_table("step_time")
    with op.batch_alter_table("fault", schema=None) as batch_op:
        batch_op.drop_column("formerly")
        batch_op.drop_column("also")
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.drop_column("promise")
        batch_op.drop_column("p80_s")
        batch_op.drop_column("median_s")
        batch_op.drop_column("device_value")
