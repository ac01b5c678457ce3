"""The parts of ``hostile_files.py``, and what they share: counts, memory, findings."""

from __future__ import annotations

import random
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import damaged_stills as stills
import httpx
from api_kit import CALIBRATION
from hostile_commands import LONG, Bench, Came
from hostile_pictures import hostile
from hostile_service import ENDLESS_S, endless, requests, said_by, serving

from calibration.errors import RestmarkError
from vision.read import Reader
from vision.still import decode_still

MOST_MEMORY_MB = 1200
"""Of a process that reads, and of a service: the largest picture that is taken, 64 million pixels,
is 200 MB decoded, and some steps hold it more than once; what the script itself holds is 575 MB."""
LONGEST_S = 30.0
"""For any one input, on a busy machine."""
PROGRESS_S = 60.0
ENDLESS_SHARE = 1
"""0: bodies without end, which take a minute, are left out."""
LONG_SHARE = 0.005
"""Of the commands that work for many seconds."""


@dataclass
class Findings:
    """What should not have been, each with its bytes in the folder."""

    folder: Path
    told: list[str] = field(default_factory=list)

    def add(self, name: str, data: bytes, *beside: bytes) -> None:
        number = len(self.told) + 1
        for at, each in enumerate((data, *beside)):
            (self.folder / f"{number:03}{'-beside' * bool(at)}").write_bytes(each)
        self.told.append(name)
        print(f"  FINDING {number}: {name}", flush=True)


class Tally:
    """What became of how many, told now and then."""

    def __init__(self) -> None:
        self.fates: dict[str, Counter[str]] = defaultdict(Counter)
        self._next = time.monotonic() + PROGRESS_S

    def add(self, kind: str, fate: str) -> None:
        self.fates[kind][fate] += 1
        if time.monotonic() > self._next:
            self._next = time.monotonic() + PROGRESS_S
            print(f"  … {self.total()}: {dict(self.by_fate())}", flush=True)

    def total(self) -> int:
        return sum(each.total() for each in self.fates.values())

    def by_fate(self) -> Counter[str]:
        return sum(self.fates.values(), Counter())

    def tell(self) -> None:
        for kind, fates in sorted(self.fates.items()):
            print(f"  {kind}: {', '.join(f'{n} {fate}' for fate, n in fates.most_common())}")
        print(f"  together {self.total()}: {dict(self.by_fate())}", flush=True)


def peak_mb(pid: int | str = "self") -> float:
    """The most memory that a process has had, by the system's word."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return int(status.split("VmHWM:")[1].split()[0]) / 1e3


def wrong_of(refused: RestmarkError) -> str:
    """What a refusal lacks: a code, a sentence, what to do."""
    detail = refused.detail
    if not refused.code or not detail.endswith((".", "?")):
        return f"refused without code or sentence: {refused.code!r} {detail[-80:]!r}"
    return "" if "; allowed: " in detail else f"refused without what is allowed: {detail[:200]!r}"


def pictures(count: int, seed: int, findings: Findings, _more: list[Path]) -> None:
    """Each input once into the decoder without a size, and once into the reader."""
    chance, tally = random.Random(f"pictures {seed}"), Tally()
    reader = Reader(CALIBRATION)
    ways: dict[str, Callable[[bytes], object]] = {
        "decoded": decode_still, "read": lambda data: reader.read_still(data, afresh=True),
    }  # fmt: skip
    for name, data in islice(hostile(chance), count):
        for does, way in ways.items():
            started = time.monotonic()
            try:
                way(data)
                fate = does
            except RestmarkError as refused:
                fate = "refused"
                if lack := wrong_of(refused):
                    findings.add(f"{name}: {lack}", data)
            except Exception as wrong:
                fate = "failed"
                findings.add(f"{name}: {wrong!r}", data)
            if (took_s := time.monotonic() - started) > LONGEST_S:
                findings.add(f"{name}: {fate} after {took_s:.0f} s", data)
        tally.add(name.split(":")[0], fate)
    tally.tell()
    told_memory(findings)


def told_memory(findings: Findings, pid: int | str = "self") -> None:
    most = peak_mb(pid)
    print(f"  memory at most {most:.0f} MB, allowed {MOST_MEMORY_MB}")
    if most > MOST_MEMORY_MB:
        findings.add(f"memory: {most:.0f} MB", b"")


def damaged(count: int, seed: int, findings: Findings, more: list[Path]) -> None:
    """Sound stills, damaged: refused, warned of, or read as the sound one is."""
    sound = stills.shipped() + stills.clear_stills(*more)
    chance, tally = random.Random(f"damaged {seed}"), Tally()
    refused: set[int] = set()
    for one in stills.damaged(sound, chance):
        if tally.total() >= count:
            break
        try:
            stills.read_healthy(one.healthy)
        except RestmarkError as wrong:
            if hash(one.healthy.data) not in refused:
                refused.add(hash(one.healthy.data))
                findings.add(
                    f"sound {one.healthy.name}, {one.healthy.way}: {wrong}", one.healthy.data
                )
            continue
        came = stills.came_of(one)
        tally.add(one.kind, came.fate)
        if came.fate == "wrong":
            name = f"{one.kind}: {one.healthy.name}, {one.healthy.way}: {came.how}"
            if one.kind == stills.UNSEEN:
                print(f"  not seen: {name}", flush=True)
            else:
                findings.add(name, one.data, one.healthy.data)
    tally.tell()


def served(count: int, seed: int, findings: Findings, _more: list[Path]) -> None:
    """A request each to a service in a process of its own; bodies without end beside them."""
    chance, tally = random.Random(f"served {seed}"), Tally()
    with serving() as service:
        base = f"{service.address}/api/v1"
        with httpx.Client(base_url=base, timeout=LONGEST_S) as client:
            for sent in islice(requests(client, chance), count):
                status = sent.answer.status_code
                tally.add(" ".join(sent.name.split(":")[0].split()[:2]), f"{status // 100}xx")
                if lack := _lack_of_answer(sent.answer):
                    findings.add(f"{sent.name}: {lack}", sent.data)
            for chunked in (True, False)[: 2 * ENDLESS_SHARE]:
                passed_s = endless(service.address, chunked=chunked)
                print(f"  a body without end: cut off after {passed_s:.0f} s")
                if passed_s >= ENDLESS_S:
                    findings.add(f"a body without end goes on for {passed_s:.0f} s", b"")
            if client.get("/health").status_code != 200:
                findings.add("the service is not well at the end", b"")
        told_memory(findings, service.process.pid)
        said = said_by(service)
    for word in ("Traceback", '"fault"'):
        if word in said:
            findings.add(f"{word} in what the service said", said.encode())
    tally.tell()


def _lack_of_answer(answer: httpx.Response) -> str:
    """What is wrong with an answer; documented refusals say code, sentence and what to do."""
    if answer.status_code < 400:
        return ""
    if answer.status_code >= 500:
        return f"{answer.status_code} {answer.text[:200]}"
    problem = answer.json()
    if not problem.get("code") or not str(problem.get("detail")).endswith((".", "?")):
        return f"a problem without code or sentence: {answer.text[:200]}"
    return ""


def commands(count: int, seed: int, findings: Findings, _more: list[Path]) -> None:
    """A command each, one of its files spoilt: it says what is wrong, or goes through."""
    chance, tally = random.Random(f"commands {seed}"), Tally()
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder))
        typed = bench.commands()
        quick = [each for each in typed if each not in LONG]
        for _ in range(count):
            bench.lay_out()
            name = chance.choice(LONG) if chance.random() < LONG_SHARE else chance.choice(quick)
            kinds, arguments = typed[name]
            kind = chance.choice(kinds)
            how, data = bench.spoil(kind, chance)
            bench.put(kind, data)
            started = time.monotonic()
            try:
                came = bench.run(arguments())
            except Exception as wrong:
                findings.add(f"{name}: {kind} {how}: {wrong!r}", data)
                tally.add(name, "failed")
                continue
            tally.add(name, "went through" if came.code == 0 else "refused")
            if lack := lack_of(came):
                findings.add(f"{name}: {kind} {how}: {lack}", data)
            if (took_s := time.monotonic() - started) > LONGEST_S:
                findings.add(f"{name}: {kind} {how}: after {took_s:.0f} s", data)
    tally.tell()
    told_memory(findings)


def lack_of(came: Came) -> str:
    """What a command's answer lacks."""
    if "Traceback" in came.said:
        return "a traceback"
    if came.code not in (0, 1, 2):
        return f"exit code {came.code}"
    complaints = [line for line in came.said.splitlines() if line.startswith("error:")]
    if came.code == 1 and complaints and not complaints[-1].rstrip().endswith((".", "?")):
        return f"no sentence: {complaints[-1][-120:]!r}"
    return ""


PARTS: dict[str, Callable[[int, int, Findings, list[Path]], None]] = {
    "pictures": pictures,
    "damaged": damaged,
    "served": served,
    "commands": commands,
}
