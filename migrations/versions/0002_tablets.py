"""tablets

Revision: 0002
After: 0001
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "tablet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("enrolled_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("enrolled_by", sa.Integer(), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_by", sa.Integer(), nullable=True),
        sa.Column("last_seen_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("waiting", sa.Integer(), nullable=False),
        sa.Column("waiting_since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("length(label) between 1 and 80", name=op.f("ck_tablet_label_length")),
        sa.CheckConstraint("waiting >= 0", name=op.f("ck_tablet_waiting_not_negative")),
        sa.ForeignKeyConstraint(["enrolled_by"], ["person.id"], name=op.f("fk_tablet_enrolled_by_person")),
        sa.ForeignKeyConstraint(["revoked_by"], ["person.id"], name=op.f("fk_tablet_revoked_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tablet")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_tablet_token_hash")),
    )
    op.create_table(
        "tablet_code",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code_hash", sa.String(length=64), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["made_by"], ["person.id"], name=op.f("fk_tablet_code_made_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tablet_code")),
        sa.UniqueConstraint("code_hash", name=op.f("uq_tablet_code_code_hash")),
    )
    with op.batch_alter_table("bench_event", schema=None) as batch_op:
        batch_op.add_column(sa.Column("device_id", sa.String(length=36), nullable=True))
        batch_op.add_column(sa.Column("device_sequence", sa.Integer(), nullable=True))
        batch_op.create_unique_constraint(
            batch_op.f("uq_bench_event_device_id_device_sequence"), ["device_id", "device_sequence"]
        )
        batch_op.create_check_constraint(
            batch_op.f("ck_bench_event_device_numbers_its_entries"), "(device_id IS NULL) = (device_sequence IS NULL)"
        )

    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column(
                "tones",
                sa.Enum("off", "soft", "loud", name="tones", native_enum=False, create_constraint=False, length=24),
                server_default="soft",
                nullable=False,
            )
        )
        # Said by itself: adding a column does not bring its type's constraint along on every database.
        batch_op.create_check_constraint(batch_op.f("ck_person_tones"), "tones IN ('off', 'soft', 'loud')")

    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.add_column(sa.Column("tap_hash", sa.String(length=64), nullable=True))
        batch_op.add_column(sa.Column("signed_out_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(sa.Column("tablet_id", sa.Integer(), nullable=True))
        batch_op.create_index(batch_op.f("ix_sign_in_tablet_id"), ["tablet_id"], unique=False)
        batch_op.create_unique_constraint(batch_op.f("uq_sign_in_tap_hash"), ["tap_hash"])
        batch_op.create_foreign_key(batch_op.f("fk_sign_in_tablet_id_tablet"), "tablet", ["tablet_id"], ["id"])


def downgrade() -> None:
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_sign_in_tablet_id_tablet"), type_="foreignkey")
        batch_op.drop_constraint(batch_op.f("uq_sign_in_tap_hash"), type_="unique")
        batch_op.drop_index(batch_op.f("ix_sign_in_tablet_id"))
        batch_op.drop_column("tablet_id")
        batch_op.drop_column("signed_out_at")
        batch_op.drop_column("tap_hash")

    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("ck_person_tones"), type_="check")
        batch_op.drop_column("tones")

    with op.batch_alter_table("bench_event", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("ck_bench_event_device_numbers_its_entries"), type_="check")
        batch_op.drop_constraint(batch_op.f("uq_bench_event_device_id_device_sequence"), type_="unique")
        batch_op.drop_column("device_sequence")
        batch_op.drop_column("device_id")

    op.drop_table("tablet_code")
    op.drop_table("tablet")
