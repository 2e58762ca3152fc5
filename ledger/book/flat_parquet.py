"""A flat table as Parquet, through the optional pyarrow; meanings and units go with the columns."""

import io
from datetime import UTC, datetime
from typing import Any

from ledger.book.flat import Column, ColumnKind, FlatTable, Value


def render_parquet(table: FlatTable) -> bytes:
    """The table as one file; instants in UTC. Raises ImportError without pyarrow."""
    import pyarrow as pa  # type: ignore[import-untyped]  # noqa: PLC0415 - optional, and slow to load
    import pyarrow.parquet as pq  # type: ignore[import-untyped]  # noqa: PLC0415

    types = {
        ColumnKind.TEXT: pa.string(),
        ColumnKind.NUMBER: pa.float64(),
        ColumnKind.WHOLE: pa.int64(),
        ColumnKind.DAY: pa.date32(),
        ColumnKind.INSTANT: pa.timestamp("s", tz="UTC"),
        ColumnKind.YES_NO: pa.bool_(),
    }
    schema = pa.schema(
        [pa.field(c.name, types[c.kind], metadata=_metadata(c)) for c in table.columns],
        metadata={"meaning": table.meaning},
    )
    columns = [[_stored(row[n]) for row in table.rows] for n in range(len(table.columns))]
    made = pa.Table.from_arrays(
        [pa.array(values, field.type) for values, field in zip(columns, schema, strict=True)],
        schema=schema,
    )
    content = io.BytesIO()
    pq.write_table(made, content)
    return content.getvalue()


def _metadata(column: Column) -> dict[str, Any]:
    return {"meaning": column.meaning, "unit": column.unit}


def _stored(value: Value) -> Value:
    return value.astimezone(UTC) if isinstance(value, datetime) else value
