"""questions

Revision: 0003
After: 0002
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("job", sa.Column("questions", sa.Integer(), server_default="0", nullable=False))
    op.create_index(
        "ix_job_questions",
        "job",
        ["id"],
        unique=False,
        sqlite_where=sa.text("questions > 0"),
        postgresql_where=sa.text("questions > 0"),
    )


def downgrade() -> None:
    op.drop_index("ix_job_questions", table_name="job")
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.drop_column("questions")
