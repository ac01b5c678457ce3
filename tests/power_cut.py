"""The power is cut between any two writes: nothing acknowledged is lost.

    python tests/power_cut.py [--shots 3] [--cuts 400]

A practice is played by the service under ``strace`` (Debian's package), and another one's archive
taken in; every write, sync, rename and acknowledgement is recorded. Then, for each moment between
two of them, the disk is made anew as a power cut may leave it: what was synced is there; of what
was not, nothing, all, or some of the writes at random, whole or torn at a sector. On each such
disk the store must open, be whole, hold every still and attempt that was acknowledged before the
cut, and hold all of the archive or nothing. Exit code 1 where one fails.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

SECTOR_BYTES = 512
CALLS = "openat,pwrite64,write,fsync,fdatasync,syncfs,ftruncate,rename,unlink,mkdir"
STRACE = ("strace", "-f", "-y", "-xx", "-s", "30000000")
SEED = 5


@dataclass
class Event:
    """One thing that was done to the disk, or an acknowledgement."""

    kind: str
    path: str = ""
    to: str = ""
    at: int = 0
    data: bytes = b""


@dataclass
class Disk:
    """Files and folders, as synced and as the system had them in memory."""

    durable: dict[str, bytes] = field(default_factory=dict)
    """Contents that are safe, by name; a name is safe once its folder, or the file, is synced."""
    now: dict[str, bytearray] = field(default_factory=dict)
    pending: dict[str, list[Event]] = field(default_factory=dict)
    """Writes to a file since it was synced."""
    renamed: list[Event] = field(default_factory=list)
    """Names that changed and whose folder was not synced since."""
    made: list[str] = field(default_factory=list)
    """Folders that were made and whose own folder was not synced since: all in them may go."""

    def do(self, event: Event) -> None:
        """What the running system sees, and what is safe."""
        if event.kind in ("write", "truncate"):
            held = self.now.setdefault(event.path, bytearray())
            apply(held, event)
            self.pending.setdefault(event.path, []).append(event)
        elif event.kind == "sync":
            if event.path in self.now:
                self.durable[event.path] = bytes(self.now[event.path])
                self.pending.pop(event.path, None)
            else:  # a folder
                self.made = [each for each in self.made if str(Path(each).parent) != event.path]
                for each in [
                    e for e in self.renamed if str(Path(e.to or e.path).parent) == event.path
                ]:
                    self.renamed.remove(each)
                    change_name(self.durable, each)
        elif event.kind == "sync all":
            self.durable = {path: bytes(data) for path, data in self.now.items()}
            self.pending, self.renamed, self.made = {}, [], []
        elif event.kind in ("rename", "unlink"):
            change_name(self.now, event)
            change_name(self.pending, event)
            self.renamed.append(event)
        elif event.kind == "mkdir":
            self.made.append(event.path)

    def after_cut(self, how: str, chance: random.Random) -> dict[str, bytes]:
        """Contents by name as a cut now may leave them."""
        files = {path: bytearray(data) for path, data in self.durable.items()}
        names = {e.to: e.path for e in self.renamed if e.kind == "rename"}
        for path, events in self.pending.items():
            for event in events:
                if how == "all" or (how == "some" and chance.random() < 0.5):
                    torn = event
                    if how == "some" and event.data and chance.random() < 0.3:
                        sectors = len(event.data) // SECTOR_BYTES
                        keep = chance.randint(0, sectors) * SECTOR_BYTES
                        torn = Event(event.kind, event.path, at=event.at, data=event.data[:keep])
                    apply(files.setdefault(names.get(path, path), bytearray()), torn)
        for event in self.renamed:
            if how == "all" or (how == "some" and chance.random() < 0.5):
                change_name(files, event)
        gone = [
            f"{each}/"
            for each in self.made
            if how == "none" or (how == "some" and chance.random() < 0.5)
        ]
        return {
            path: bytes(data)
            for path, data in files.items()
            if not any(path.startswith(each) for each in gone)
        }


def apply(held: bytearray, event: Event) -> None:
    if event.kind == "truncate":
        del held[event.at :]
        held.extend(bytes(event.at - len(held)))
        return
    if len(held) < event.at:
        held.extend(bytes(event.at - len(held)))
    held[event.at : event.at + len(event.data)] = event.data


def change_name(files: dict, event: Event) -> None:
    held = files.pop(event.path, None)
    if event.kind == "rename" and held is not None:
        files[event.to] = held


# -- what was recorded ---------------------------------------------------------------------------

_LINE = re.compile(r"^\d+\s+(\w+)\((.*)\)\s+= (-?\d+)(?:<(.*)>)?")
_FD = re.compile(r"^(\d+)<((?:\\x[0-9a-f]{2})*)>")
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')


def recorded(trace: Path, folder: str) -> list[Event]:
    """Events in ``folder``, and acknowledgements that the player noted on standard output."""
    out: list[Event] = []
    ends: dict[str, int] = {}
    for line in joined(trace):
        found = _LINE.match(line)
        if found is None or found[3].startswith("-"):
            continue
        call, arguments, result = found[1], found[2], int(found[3])
        texts = [bytes.fromhex(each.replace("\\x", "")) for each in _TEXT.findall(arguments)]
        place = _FD.match(arguments)
        path = bytes.fromhex(place[2].replace("\\x", "")).decode() if place else ""
        if call == "write" and b"acknowledged " in (texts or [b""])[0][:20]:
            out.append(Event("acknowledged", data=texts[0]))
        elif call in ("pwrite64", "write") and path.startswith(folder):
            at = int(arguments.rsplit(",", 1)[1]) if call == "pwrite64" else ends.get(path, 0)
            ends[path] = at + result
            out.append(Event("write", path, at=at, data=texts[0][:result]))
        elif call in ("fsync", "fdatasync") and path.startswith(folder):
            out.append(Event("sync", path))
        elif call == "syncfs" and path.startswith(folder):
            out.append(Event("sync all", path))
        elif call == "ftruncate" and path.startswith(folder):
            out.append(Event("truncate", path, at=int(arguments.rsplit(",", 1)[1])))
        elif call == "openat" and "O_TRUNC" in arguments and texts[0].decode().startswith(folder):
            out.append(Event("truncate", texts[0].decode(), at=0))
        elif call in ("rename", "unlink", "mkdir") and texts[0].decode().startswith(folder):
            to = texts[1].decode() if call == "rename" else ""
            out.append(Event(call, texts[0].decode(), to=to))
    return out


def joined(trace: Path):
    """Lines of the trace, with calls that others interrupted put together again."""
    begun: dict[str, str] = {}
    for line in trace.read_text(encoding="ascii").splitlines():
        thread = line.split(" ", 1)[0]
        if line.endswith("<unfinished ...>"):
            begun[thread] = line.removesuffix("<unfinished ...>").rstrip()
        elif "resumed>" in line:
            yield begun.pop(thread, "") + line.partition("resumed>")[2]
        else:
            yield line


# -- the practice --------------------------------------------------------------------------------


def archive_of(data: Path, shots: int) -> bytes:
    """Another practice, as its archive."""
    from api_kit import INTENT, Client, after, running, taken

    with running(data) as address, Client(address) as client:
        client.calibrate()
        for _ in range(shots):
            # pictures of another shade than those that are played
            assert client.give(taken(shade=40)).is_success
            assert client.put("/intent", json=INTENT).is_success
            assert client.give(taken(after(), shade=50)).is_success
        return client.get("/export").content


def play(data: Path, shots: int, archive: bytes) -> None:
    """Play, take the archive in, and say on standard output what was acknowledged."""
    from api_kit import INTENT, Client, after, running, taken

    def say(**what: int) -> None:
        sys.stdout.write(f"acknowledged {json.dumps(what)}\n")
        sys.stdout.flush()

    with running(data) as address, Client(address) as client:
        client.calibrate()
        for _ in range(shots):
            assert client.give(taken()).is_success
            say(stills=1)
            assert client.put("/intent", json=INTENT).is_success
            assert client.give(taken(after(), shade=140)).json()["attempt"]
            say(stills=1, attempts=1)
        done = client.post("/import", content=archive, headers={"Content-Type": "application/zip"})
        added = done.json()["added"]
        say(stills=added["stills"], attempts=added["attempts"])


def check(files: dict[str, bytes], folder: str, held: Counter[str], shots: int) -> str:
    """What is wrong with the store on such a disk; empty where nothing is."""
    from service.store import Store

    with tempfile.TemporaryDirectory() as place:
        for path, content in files.items():
            if path.endswith(("-shm", ".lock")):
                continue  # of memory alone
            target = Path(place, "data", Path(path).relative_to(folder))
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        try:
            with closing(Store(Path(place, "data"))) as store, store.reading() as reader:
                counts, damaged = reader.counts(), store.check_stills().damaged
        except Exception as wrong:
            return f"does not open: {wrong}"
    if damaged:
        return f"{len(damaged)} stills have no picture"
    lost = {name: held[name] - counts[name] for name in held if counts[name] < held[name]}
    if lost:
        return f"acknowledged and lost: {lost}"
    # the archive is of as many shots as were played
    if shots < counts["attempts"] != 2 * shots:
        return f"half an archive: {counts['attempts'] - shots} of {shots} attempts"
    return ""


def main() -> int:
    """Record, cut, look."""
    ask = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    ask.add_argument("--shots", type=int, default=3)
    ask.add_argument("--cuts", type=int, default=400, help="moments, evenly over the record")
    ask.add_argument("--play", help=argparse.SUPPRESS)
    given = ask.parse_args()
    if given.play:
        data = Path(given.play)
        play(data, given.shots, (data.parent / "other.zip").read_bytes())
        return 0
    work = Path(tempfile.mkdtemp())
    try:
        folder, trace = str(work / "data"), work / "trace"
        (work / "other.zip").write_bytes(archive_of(work / "other", given.shots))
        command = [sys.executable, __file__, "--play", folder, "--shots", str(given.shots)]
        subprocess.run(
            [*STRACE, "-e", f"trace={CALLS}", "-o", trace, *command],
            check=True, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        events = recorded(trace, str(work))
    finally:
        shutil.rmtree(work)
    disk, chance, held = Disk(), random.Random(SEED), Counter[str]()
    every = max(1, len(events) // given.cuts)
    cuts, wrong = 0, []
    for number, event in enumerate(events):
        if event.kind == "acknowledged":
            held.update(json.loads(event.data.split(b" ", 1)[1]))
        disk.do(event)
        if number % every and event.kind != "acknowledged":
            continue
        for how in ("none", "all", "some"):
            cuts += 1
            found = check(disk.after_cut(how, chance), folder, held, given.shots)
            if found:
                wrong.append(f"after event {number} ({event.kind} {event.path}), {how}: {found}")
    print("\n".join(wrong[:20]))
    kinds = Counter(event.kind for event in events)
    print(f"{len(events)} events {dict(kinds)}, {cuts} cuts, {len(wrong)} wrong; {dict(held)}")
    return 1 if wrong or not held["attempts"] else 0


if __name__ == "__main__":
    raise SystemExit(main())
