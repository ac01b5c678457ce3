"""The library of layouts: kept ones with title, note, tags and the shot that goes with them.

In: layouts as readings or files give them. Out: kept layouts, mirrored and turned copies, files of
them (JSON; SVG, PNG and PDF that carry their JSON) and lessons, which are several on one sheet.
Reads and writes no store; pages of paper are made in `sheets`.
"""
