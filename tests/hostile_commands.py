"""Every command, and every format of file that one reads, with that file spoilt."""

from __future__ import annotations

import contextlib
import io
import json
import random
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from api_kit import CALIBRATION, FAR, INTENT, after, layout, still
from hostile_pictures import hostile, whole_ones
from spoilt_documents import KINDS, LAYOUT, spoilt

from service.cli import main
from service.desk.session import SessionAttempt, SessionStill, load_session
from service.layouts.entry import KeptLayout
from service.layouts.files import layout_svg
from service.moving import back_up, export_archive
from service.position import Intent, score_shot
from service.sheets.layout_sheet import layout_pdf
from service.sheets.picture import layout_png
from service.store import DATABASE_NAME, Store

FILES = {
    "table": "table.json", "lens": "lens.json", "set": "set.json", "layout": "layout.json",
    "intent": "intent.json", "plan": "plan.json", "player": "player.json", "points": "points.json",
}  # fmt: skip
PARTS_OF_A_COPY = ("database", "told")
LONG = ("calibrate", "calibrate by points")
"""Commands that work for many seconds on what is sound enough."""
SPENT = ("out.json", "out.svg", "out.html", "data", "session", "copy", "filled")
"""What a command may have left, taken away before the next."""


@dataclass(frozen=True, slots=True)
class Came:
    """Exit code of a command, and what it said on its error output."""

    code: int
    said: str


class Bench:
    """A folder with one sound file of every format, and commands that read them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sound: dict[str, bytes] = {
            kind: json.dumps(KINDS[kind].document).encode() for kind in FILES
        }
        self.sound["intent"] = json.dumps(INTENT).encode()
        self.sound["layout"] = json.dumps(layout().to_dict()).encode()
        self.sound["truth"] = json.dumps(KINDS["truth"].document).encode()
        self.sound["still"] = whole_ones()["jpeg"]
        kept = KeptLayout(layout=LAYOUT, title="Three to the four")
        self.sound["drawing"] = layout_svg(kept).encode()
        self.sound["sheet"] = layout_pdf(kept)
        self.sound["picture"] = layout_png(kept)
        self.sound["archive"], self.sound["database"] = _store(folder / "made")
        self.sound["told"] = (folder / "made" / "copy" / "copy.json").read_bytes()
        self._pictures = hostile(random.Random("commands"))

    def path(self, kind: str) -> Path:
        ending = {
            "still": "still.jpg", "drawing": "drawing.svg", "sheet": "sheet.pdf",
            "picture": "picture.png", "archive": "archive.zip", "truth": "stills/truth.json",
        }  # fmt: skip
        return self.folder / (FILES.get(kind) or ending[kind])

    def lay_out(self) -> None:
        """Every file sound again, and nothing that a command left."""
        for name in SPENT:
            gone = self.folder / name
            shutil.rmtree(gone) if gone.is_dir() else gone.unlink(missing_ok=True)
        for kind, data in self.sound.items():
            if kind in PARTS_OF_A_COPY:
                continue
            self.path(kind).parent.mkdir(exist_ok=True)
            self.path(kind).write_bytes(data)
        (self.folder / "stills" / "a.jpg").write_bytes(self.sound["still"])
        session = self.folder / "session"
        session.mkdir()
        for name in ("shot-1-before", "shot-1-after"):
            (session / f"{name}.json").write_bytes(self.sound["layout"])
        shutil.copytree(self.folder / "made" / "copy", self.folder / "copy")
        (self.folder / "filled").mkdir()
        (self.folder / "filled" / DATABASE_NAME).write_bytes(self.sound["database"])

    def spoil(self, kind: str, chance: random.Random) -> tuple[str, bytes]:
        """How it was spoilt, and the bytes that a file of that kind holds then."""
        sound, act = self.sound[kind], chance.randrange(6)
        if kind == "still":
            return next(self._pictures)
        if (kind in KINDS or kind == "told") and act < 4:
            return "spoilt", json.dumps(spoilt(json.loads(sound), chance)).encode()
        if kind == "archive" and act < 3:
            return "repacked", _repacked(sound, chance)
        if act == 4:
            return "cut", sound[: chance.randrange(len(sound))]
        if act == 5:
            return next(self._pictures)
        data = bytearray(sound)
        for _ in range(chance.choice((1, 4, 64))):
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        return "flipped", bytes(data)

    def run(self, arguments: list[str]) -> Came:
        """The command in this process."""
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(arguments)
        return Came(code, err.getvalue())

    def commands(self) -> dict[str, tuple[tuple[str, ...], Callable[[], list[str]]]]:
        """By name: the kinds of file that may be spoilt, and what is typed."""
        at = {kind: str(self.path(kind)) for kind in self.sound if kind not in PARTS_OF_A_COPY}
        folder = self.folder

        def out(name: str = "out.json") -> list[str]:
            return ["--out", str(folder / name)]

        table, intent = ["--calibration", at["table"]], ["--intent", at["intent"]]
        player, taught = ["--player", at["player"]], ["--set", at["set"]]
        plan, data = ["--plan", at["plan"]], ["--data", str(folder / "data")]
        lens = ["--lens", at["lens"]]
        filled = ["--data", str(folder / "filled")]
        two, at_9ft = [at["layout"], at["layout"]], ["--surface", "9ft"]
        session = str(folder / "session")
        return {
            "read": (("still", "table", "set"), lambda: ["read", at["still"], *table, *taught]),
            "calibrate": (
                ("still", "lens"),
                lambda: ["calibrate", at["still"], *at_9ft, *lens, *out()],
            ),
            "calibrate by points": (
                ("points", "lens"),
                lambda: ["calibrate", at["still"], *at_9ft, "--points", at["points"], *out()],
            ),
            "map": (("table",), lambda: ["map", "320,180", *table, "--json"]),
            "lens": (("still",), lambda: ["lens", at["still"], at["still"], *out()]),
            "zone": (
                ("layout", "intent", "player"),
                lambda: ["zone", at["layout"], *intent, *player, *out("out.svg")],
            ),
            "route": (
                ("layout", "intent", "player"),
                lambda: ["route", at["layout"], *intent, *player],
            ),
            "chances": (
                ("layout", "player"),
                lambda: ["chances", at["layout"], "--ball", "3", *player],
            ),
            "player": (
                ("layout", "plan", "player"),
                lambda: ["player", session, *plan, *player, *out()],
            ),
            "prove": (("still", "table", "set"), lambda: ["prove", at["still"], *table, *taught]),
            "score": (
                ("layout", "intent", "player"),
                lambda: ["score", *two, *intent, *player, "--report", str(folder / "out.html")],
            ),
            "score stills": (
                ("still", "table"),
                lambda: ["score", at["still"], at["still"], *table, *intent],
            ),
            "session": (
                ("layout", "plan", "player"),
                lambda: ["session", session, *plan, *player, *data],
            ),
            "teach": (
                ("still", "table", "layout", "set"),
                lambda: ["teach", at["still"], *table, "--names", at["layout"], "--yes", *out()],
            ),
            "import": (("archive",), lambda: ["import", at["archive"], *data]),
            "restore": (
                ("database", "told"),
                lambda: ["restore", str(folder / "copy"), *data],
            ),
            "doctor": (("database",), lambda: ["doctor", *filled]),
            "progress": (("database",), lambda: ["progress", *filled]),
            "export": (("database",), lambda: ["export", *filled, *out("out.zip")]),
            "layout import": (
                ("drawing", "sheet", "picture", "layout"),
                lambda: ["layout", "import", at["drawing"], at["sheet"], at["picture"], *data],
            ),
            "layout record": (
                ("layout", "intent"),
                lambda: ["layout", "record", at["layout"], *intent, *out()],
            ),
            "layout guide": (
                ("layout", "drawing"),
                lambda: ["layout", "guide", at["layout"], "--layout", at["drawing"]],
            ),
            "layout export": (
                ("drawing", "picture", "layout"),
                lambda: ["layout", "export", at["drawing"], *out("out.svg")],
            ),
            "bench": (("truth",), lambda: ["bench", "--stills", str(folder / "stills")]),
        }

    def put(self, kind: str, data: bytes) -> None:
        """A spoilt file in the place of every sound one of its kind."""
        if kind == "database":
            (self.folder / "filled" / DATABASE_NAME).write_bytes(data)
            _database_in(self.folder / "copy").write_bytes(data)
            return
        if kind == "told":
            (self.folder / "copy" / "copy.json").write_bytes(data)
            return
        self.path(kind).write_bytes(data)
        if kind == "still":
            (self.folder / "stills" / "a.jpg").write_bytes(data)
        if kind == "layout":
            (self.folder / "session" / "shot-1-after.json").write_bytes(data)


def _store(folder: Path) -> tuple[bytes, bytes]:
    """An archive and the database of a store with one attempt; beside it its copy."""
    before, rest = layout(still="a.jpg"), after(FAR, still="b.jpg")
    intent = Intent.from_dict(INTENT)
    verdict = score_shot(before, rest, intent, CALIBRATION.table)
    load_session(
        folder / "store", CALIBRATION,
        stills=[
            SessionStill(name="a.jpg", data=still(before), layout=before),
            SessionStill(name="b.jpg", data=still(rest, shade=140), layout=rest),
        ],
        attempts=[SessionAttempt(before="a.jpg", after="b.jpg", intent=intent, verdict=verdict)],
    )  # fmt: skip
    with contextlib.closing(Store(folder / "store")) as store:
        archive = b"".join(export_archive(store))
        back_up(store, folder / "copy")
    return archive, _database_in(folder / "copy").read_bytes()


def _database_in(copy: Path) -> Path:
    return next(copy.glob("restmark*.db"))


def _repacked(archive: bytes, chance: random.Random) -> bytes:
    """The zip with one member spoilt, doubled, gone, named otherwise or grown, sums right."""
    with zipfile.ZipFile(io.BytesIO(archive)) as file:
        members = [(each.filename, file.read(each)) for each in file.infolist()]
    at, act = chance.randrange(len(members)), chance.randrange(6)
    name, data = members[at]
    if act == 0:
        del members[at]
    elif act == 1:
        members[at] = (chance.choice(("../a", "/etc/x", "a\0b", "x" * 300, name + "x")), data)
    elif act == 2:
        members[at] = (name, data[: chance.randrange(len(data) + 1)])
    elif act == 3:
        members[at] = (name, bytes(30_000_000))
    elif act == 4 and data:
        changed = bytearray(data)
        for _ in range(chance.choice((1, 8))):
            changed[chance.randrange(len(changed))] = chance.randrange(256)
        members[at] = (name, bytes(changed))
    else:
        members.append((f"{name}{chance.randrange(9)}", data))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for each, content in members:
            file.writestr(each.replace("\0", "_"), content)
    return out.getvalue()
