"""The page of the workbook's tables, from the schema itself."""

from __future__ import annotations

import sqlalchemy as sa

from truemile.workbook.schema import HEAD as SCHEMA
from truemile.workbook.schema import IMMUTABLE, Base

HEAD = f"""# Workbook tables

A workbook is one SQLite file. Its schema is number `{SCHEMA}`. Any SQLite tool can read it; **only Truemile should
write it**, because each change belongs to a journal entry.

- Every fact carries `entry_id`, the journal entry that added it. It counts as long as `standing` of that entry is true.
- Nothing is updated and nothing is deleted: the database itself refuses to alter a row of the tables marked *fact*. The
  one thing that ever changes is `standing` in the journal, when an entry is undone or its undoing is.
- Instants are UTC. Numbers have the units of their names: `_nm`, `_kn`, `_m`, `_s`, `_deg`.
- The table `alembic_version` holds the number of the schema.

[Raw readings and undo](../explanation/raw-readings.md) says why it is made so.
"""


_NAMES = {
    "integer": "whole number",
    "float": "number",
    "double": "number",
    "boolean": "yes or no",
    "json": "JSON",
    "date": "date",
    "string": "text",
    "text": "text",
}


def write() -> dict[str, str]:
    """Return the page."""
    classes = {mapper.class_.__tablename__: mapper.class_ for mapper in Base.registry.mappers}
    parts = [HEAD]
    for table in Base.metadata.sorted_tables:
        fact = " *Fact.*" if table.name in IMMUTABLE else ""
        parts.append(f"## {table.name}\n\n{_first(classes[table.name])}{fact}\n\n| column | type | |\n|---|---|---|")
        parts[-1] += "".join(f"\n| `{column.name}` | {_type(column)} | {_rest(column)} |" for column in table.columns)
        parts[-1] += "\n"
    return {"workbook-tables.md": "\n".join(parts)}


def _first(kind: type) -> str:
    return (kind.__doc__ or "").strip().splitlines()[0]


def _type(column: sa.Column[object]) -> str:
    kind = column.type
    if isinstance(kind, sa.Enum):
        return ", ".join(f"`{value}`" for value in kind.enums)
    if isinstance(kind, sa.types.TypeDecorator):
        return "instant"
    return _NAMES[type(kind).__visit_name__.lower()]


def _rest(column: sa.Column[object]) -> str:
    said = ["key"] if column.primary_key else []
    said += [f"→ {key.target_fullname.replace('.', ', ')}" for key in column.foreign_keys]
    if column.nullable and not column.primary_key:
        said.append("may be empty")
    return "; ".join(said)
