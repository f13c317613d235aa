"""The table of a sweep: CSV; Parquet where pyarrow is installed."""

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

from verifier.language.writing import UnwritableError, check_target, write_file

CSV, PARQUET = ".csv", ".parquet"


def check_table(path: Path) -> None:
    """Raises UnwritableError unless a table can be written there."""
    check_target(path)
    if path.suffix == PARQUET:
        try:
            import pyarrow.parquet  # noqa: F401
        except ImportError:
            raise UnwritableError(
                f"{path} cannot be written: Parquet needs pyarrow (pip install pyarrow). "
                "Without it, give a name that ends in .csv."
            ) from None
    elif path.suffix != CSV:
        raise UnwritableError(
            f"{path} cannot be written: a table ends in {CSV}, or in {PARQUET} with pyarrow."
        )


def write_table(path: Path, columns: Sequence[str], rows: Sequence[Mapping[str, str]]) -> None:
    """Write the rows in their order, whole or not at all. Raises UnwritableError."""
    if path.suffix == PARQUET:
        import pyarrow
        import pyarrow.parquet

        table = pyarrow.table({name: [row.get(name, "") for row in rows] for name in columns})
        raw = io.BytesIO()
        pyarrow.parquet.write_table(table, raw)
        write_file(path, raw.getvalue())
        return
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    write_file(path, text.getvalue())
