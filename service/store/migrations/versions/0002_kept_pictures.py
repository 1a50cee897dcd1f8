"""Clean copies of pictures are kept."""

from __future__ import annotations

from alembic import op

revision: str = "0002"
down_revision: str | None = "0001"
branch_labels: None = None
depends_on: None = None


def upgrade() -> None:
    """Bring the tables up to this revision.

    Written as SQL, for both stores take a column together with its check, and SQLite would
    otherwise have to make the table anew, without the checks that it has.
    """
    op.execute(
        "ALTER TABLE artwork ADD COLUMN kept_sha256 VARCHAR(64) "
        "CONSTRAINT ck_artwork_kept_sha256_length CHECK (length(kept_sha256) <= 64)"
    )


def downgrade() -> None:
    """Take the tables back to the revision before; the check goes with its column."""
    op.execute("ALTER TABLE artwork DROP COLUMN kept_sha256")
