"""A still that arrives: what it meets, what happened before it, and what is kept of it.

In: a still's bytes from whoever took them. Out: a reading with its outcome, the attempt that it
ended, and the intent that waits from then on, all of it in one transaction or nothing.
"""

from .upload import Moment, Upload, clean_name

__all__ = ["Moment", "Upload", "clean_name"]
