"""What is wrong with an install and its practice, and what to do about it.

In: a data folder, a database's URL. Out: findings in their order: what was looked at, how it
stands, what was found, what to do. Nothing is changed; a camera is asked for one picture.
"""

from .findings import CARE, OK, WRONG, Finding
from .look import look

__all__ = ["CARE", "OK", "WRONG", "Finding", "look"]
