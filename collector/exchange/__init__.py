"""CSV in and out: every kind of record, and the readings. All rows of a file or none."""

from collector.exchange.going_out import export_rows
from collector.exchange.taking_in import Imported, import_file

__all__ = ["Imported", "export_rows", "import_file"]
