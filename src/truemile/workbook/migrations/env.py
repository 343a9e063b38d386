"""Run migrations on the connection that the workbook hands in."""

from __future__ import annotations

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext

from truemile.workbook.schema import Base, UtcDateTime


def _render(kind: str, item: Any, autogen: AutogenContext) -> str | Literal[False]:  # noqa: ANN401, ARG001
    """Write the UTC column as the plain type it is stored in."""
    return "sa.DateTime(timezone=True)" if kind == "type" and isinstance(item, UtcDateTime) else False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    render_item=_render,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
