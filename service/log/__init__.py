"""What the service did, as lines of JSON in the data folder: for whoever looks for a fault.

In: events with their fields. Out: ``logs/restmark.log`` and its elder parts. No picture goes in,
no password, no body of a request: paths, numbers, codes and tracebacks. Without ``to_files``
nothing is written.
"""

from .lines import event, failure
from .request import Asked, asked, begin
from .rotating import FOLDER_NAME, to_files

__all__ = ["FOLDER_NAME", "Asked", "asked", "begin", "event", "failure", "to_files"]
