"""Charts of many attempts: stops about the wanted spot, rates by session.

In: figures. Out: SVG as text, in the colours of the page or report that it stands in.
"""
