"""A service that is meant to be killed: ``python mortal_service.py DATA URL``, URL may be empty.

For every line on standard input it starts one, in a process of its own, and prints that process's
number and the service's address; it prints ``ended`` when the process is gone.
"""

import os
import sys
from pathlib import Path

from api_kit import stand_in_read

from service.api import create_app
from service.api.serve import Server, address, bind


def serve(data_dir: Path, url: str | None) -> None:
    app = create_app(data_dir, read=stand_in_read, store_url=url)
    listener = bind("127.0.0.1", 0)
    print(os.getpid(), address(listener), flush=True)
    Server(app).run(sockets=[listener])


if __name__ == "__main__":
    for _line in sys.stdin:
        child = os.fork()
        if child == 0:
            serve(Path(sys.argv[1]), sys.argv[2] or None)
            os._exit(0)
        os.waitpid(child, 0)
        print("ended", flush=True)
