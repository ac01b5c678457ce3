"""What one still shows of the table: lines and points as landmarks, each with its error in px.

In: a decoded still, and a camera that is about right. Out: `Landmarks`. Nothing is solved here
and nothing is written.
"""
