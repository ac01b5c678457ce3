"""What a calibration keeps: the value that all other rooms hand on, and its file.

In: a solved camera, table and budget, pictures of rails and bed. Out: `Calibration`, read from
and written to `table.json`. Values only: nothing is looked for in a picture here.
"""
