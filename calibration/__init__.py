"""Pixels to table millimetres: camera, lens, pose, table model and their errors.

In: stills of the empty table and of a lens board, and what was measured beside them. Out:
`Calibration`, which maps pixels to the table with their error. Coordinates are fixed on one page,
"Coordinates" in DEVELOPERS.md. Imports neither ``vision`` nor ``service``.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .camera import Camera as Camera
    from .errors import CalibrationError as CalibrationError
    from .errors import FileFormatError as FileFormatError
    from .errors import RestmarkError as RestmarkError
    from .from_still import calibrate as calibrate
    from .kept.calibration import Calibration as Calibration
    from .lens.board import BoardPattern as BoardPattern
    from .lens.file import Lens as Lens
    from .lens.fit import fit_lens as fit_lens
    from .solve.known import Known as Known
    from .table import Table as Table
else:
    from .exports import on_demand

    _HOMES = {
        "BoardPattern": "lens.board",
        "Calibration": "kept.calibration",
        "CalibrationError": "errors",
        "Camera": "camera",
        "FileFormatError": "errors",
        "Known": "solve.known",
        "Lens": "lens.file",
        "RestmarkError": "errors",
        "Table": "table",
        "calibrate": "from_still",
        "fit_lens": "lens.fit",
    }
    __all__ = list(_HOMES)
    __getattr__ = on_demand(__name__, _HOMES)
