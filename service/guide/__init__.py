"""Setting balls up by hand: a wanted layout and what lies there now → which ball goes where.

In: two layouts of one table and a tolerance. Out: what each ball still has to do, in which order,
where the reading leaves doubt, and how far off the balls lay when a shot was played from them.
Knows no pictures, no store and no words: what is said of it stands in `words`.
"""

from .guided import Guided, guided
from .moves import Move
from .set_up import SetUpError, set_up_error
from .steps import Step

__all__ = ["Guided", "Move", "SetUpError", "Step", "guided", "set_up_error"]
