"""What stops Parquet files from being written or read."""

from __future__ import annotations

from calibration.errors import RestmarkError


class ParquetError(RestmarkError):
    """The files cannot be written there, or are not what was written."""

    code = "bad-parquet"


def no_library(missing: str) -> ParquetError:
    """A library of the extra is not installed."""
    return ParquetError(
        f"{missing}: not installed; allowed: an environment with the extra `scale`. Install it: "
        "pip install 'restmark[scale]', in a checkout pip install '.[scale]'.",
        code="no-extra",
    )
