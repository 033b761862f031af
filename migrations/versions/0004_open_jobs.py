"""open jobs

Revision: 0004
After: 0003
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

IS_OPEN = "stage NOT IN ('closed', 'returned unrepaired')"


def upgrade() -> None:
    op.create_index(
        "ix_job_open", "job", ["id"], unique=False, sqlite_where=sa.text(IS_OPEN), postgresql_where=sa.text(IS_OPEN)
    )


def downgrade() -> None:
    op.drop_index("ix_job_open", table_name="job")
