"""drafts

Revision: 0005
After: 0004
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:

    op.create_table(
        "media",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "picture", "video", "words", name="media_kind", native_enum=False, create_constraint=True, length=24
            ),
            nullable=False,
        ),
        sa.Column("content_type", sa.String(length=80), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=True),
        sa.Column("height", sa.Integer(), nullable=True),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("stored_by", sa.Integer(), nullable=True),
        sa.CheckConstraint("size >= 0", name=op.f("ck_media_size_not_negative")),
        sa.ForeignKeyConstraint(["stored_by"], ["person.id"], name=op.f("fk_media_stored_by_person")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_media")),
    )
    op.create_table(
        "draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(length=120), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "in writing",
                "to be checked",
                "published",
                "dropped",
                name="draft_state",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column(
            "document",
            sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql"),
            nullable=False,
        ),
        sa.Column(
            "asked",
            sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql"),
            nullable=False,
        ),
        sa.Column(
            "drawings",
            sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql"),
            nullable=False,
        ),
        sa.Column("base_revision_id", sa.Integer(), nullable=True),
        sa.Column("revision_id", sa.Integer(), nullable=True),
        sa.Column("source", sa.String(length=64), nullable=True),
        sa.Column("video", sa.String(length=64), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.Integer(), nullable=True),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("saved_by", sa.Integer(), nullable=True),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("sent_by", sa.Integer(), nullable=True),
        sa.Column("checked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("checked_by", sa.Integer(), nullable=True),
        sa.Column("remarks", sa.String(length=2000), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "checked_by IS NULL OR sent_by IS NULL OR checked_by <> sent_by",
            name=op.f("ck_draft_checked_by_a_second_person"),
        ),
        sa.ForeignKeyConstraint(["base_revision_id"], ["revision.id"], name=op.f("fk_draft_base_revision_id_revision")),
        sa.ForeignKeyConstraint(["checked_by"], ["person.id"], name=op.f("fk_draft_checked_by_person")),
        sa.ForeignKeyConstraint(["created_by"], ["person.id"], name=op.f("fk_draft_created_by_person")),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_draft_revision_id_revision")),
        sa.ForeignKeyConstraint(["saved_by"], ["person.id"], name=op.f("fk_draft_saved_by_person")),
        sa.ForeignKeyConstraint(["sent_by"], ["person.id"], name=op.f("fk_draft_sent_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft")),
    )
    with op.batch_alter_table("draft", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_draft_base_revision_id"), ["base_revision_id"], unique=False)

    op.create_table(
        "draft_save",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column(
            "document",
            sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), "postgresql"),
            nullable=False,
        ),
        sa.Column("words", sa.String(length=200), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("saved_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["draft_id"], ["draft.id"], name=op.f("fk_draft_save_draft_id_draft")),
        sa.ForeignKeyConstraint(["saved_by"], ["person.id"], name=op.f("fk_draft_save_saved_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft_save")),
        sa.UniqueConstraint("draft_id", "version", name=op.f("uq_draft_save_draft_id_version")),
    )
    with op.batch_alter_table("draft_save", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_draft_save_draft_id"), ["draft_id"], unique=False)


def downgrade() -> None:

    with op.batch_alter_table("draft_save", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_draft_save_draft_id"))

    op.drop_table("draft_save")
    with op.batch_alter_table("draft", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_draft_base_revision_id"))

    op.drop_table("draft")
    op.drop_table("media")
