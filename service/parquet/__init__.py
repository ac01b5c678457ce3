"""Attempts, readings and balls as Parquet files for anyone's analysis, and our statistics of them.

In: a store. Out: a folder of column files (``writing``, columns in ``columns``), and from such a
folder the same figures that the service tells, worked out over Dask dataframes (``figures``).
Needs the extra ``scale``; nothing of the service needs this room.
"""

from .errors import ParquetError
from .figures import columns_in, standing_in, standings_in
from .writing import Written, write_parquet

__all__ = [
    "ParquetError",
    "Written",
    "columns_in",
    "standing_in",
    "standings_in",
    "write_parquet",
]
