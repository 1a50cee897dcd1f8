"""${message}."""

from __future__ import annotations

import sqlalchemy as sa
import sqlmodel
from alembic import op
${imports if imports else ""}
revision: str = ${repr(up_revision)}
down_revision: str | None = ${repr(down_revision)}
branch_labels: None = ${repr(branch_labels)}
depends_on: None = ${repr(depends_on)}


def upgrade() -> None:
    """Bring the tables up to this revision."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """Take the tables back to the revision before."""
    ${downgrades if downgrades else "pass"}
