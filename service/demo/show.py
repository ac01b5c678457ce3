"""The whole job on the sample stills, shown: on the terminal, as a report and as JSON."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.markup import escape

from calibration.jsonfile import make_folder, write_json
from service.report import model
from service.report.tables import attempts_grid
from service.report.written import REPORT_FILE, lead_words, write_report
from service.words.calibration import calibration_lines
from service.words.lengths import Lengths, Units
from service.words.lens import lens_lines
from service.words.plain import percent
from service.words.summary import summary_lines
from vision.truth.measure import Accuracy

from .trial import Track, Trial, run_trial, untracked

SESSION_FORMAT = "restmark-session"
SESSION_VERSION = 1
SESSION_FILE = "session.json"
RENDERED = (
    "The sample stills are rendered, not photographed: where every ball lies is known exactly "
    "(truth.json beside them), so the reading can be measured against it."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Demo:
    """A finished demo: what was found and where it was written."""

    trial: Trial
    folder: Path
    seconds: float
    units: Units = Units.MM

    @property
    def report(self) -> Path:
        """The HTML report."""
        return self.folder / REPORT_FILE


def run_demo(
    folder: Path,
    *,
    units: Units = Units.MM,
    announce: Callable[[str], None] = lambda text: None,
    track: Track = untracked,
) -> Demo:
    """Run the sample practice and write report, session, lens and calibration to ``folder``."""
    started = time.perf_counter()
    make_folder(folder)
    trial = run_trial(announce=announce, track=track)
    announce("writing the report")
    trial.lens.write(folder / "lens.json")
    trial.calibration.write(folder / "table.json")
    write_json(folder / SESSION_FILE, session_json(trial))
    write_report(folder / REPORT_FILE, trial.result, report_source(trial, units))
    return Demo(trial=trial, folder=folder, seconds=time.perf_counter() - started, units=units)


def report_source(trial: Trial, units: Units = Units.MM) -> model.Source:
    """What the report says beside the session itself."""
    attempts = len(trial.result.attempts)
    return model.Source(
        heading="A practice of position play, measured",
        lead=f"{lead_words(attempts, trial.calibration.table)} Read from {len(trial.stills)} "
        "stills of a camera above the table, rendered as a sample.",
        provenance="Made by restmark demo from the packaged sample stills. " + RENDERED,
        table=trial.calibration.table,
        calibration=trial.calibration,
        units=units,
        empty_still=trial.empty_still,
        stills=trial.stills,
        accuracy=model.Accuracy(lead=RENDERED, lines=tuple(accuracy_lines(trial))),
    )


def session_json(trial: Trial) -> dict[str, Any]:
    """The session as one JSON object: intents, readings, verdicts, summary and accuracy."""
    attempts = []
    for attempt in trial.result.attempts:
        intent = trial.plan.intent(attempt.attempt)
        meant = None if intent is None else intent.to_dict()
        attempts.append({**attempt.to_dict(), "intent": meant})
    return {
        "format": SESSION_FORMAT,
        "version": SESSION_VERSION,
        "provenance": RENDERED,
        "layouts": [layout.to_dict() for layout in trial.layouts.values()],
        "attempts": attempts,
        "summary": trial.result.summary_dict(),
        "accuracy": trial.accuracy.to_dict(),
    }


def accuracy_lines(trial: Trial) -> list[str]:
    """How right the calibration and the reading were, in sentences."""
    bed = trial.bed_error_mm
    lines = [
        f"Calibration against the true camera, at ball height over the whole bed: median "
        f"{np.median(bed):.2f} mm, worst {bed.max():.2f} mm."
    ]
    return lines + reading_lines(trial.accuracy)


def reading_lines(figures: Accuracy) -> list[str]:
    """Accuracy of readings in sentences."""
    found = figures.balls - figures.missed
    lines = [
        f"{figures.balls} balls in {figures.stills} stills: {figures.missed} missed, "
        f"{figures.invented} invented, {figures.wrong_names} wrong names "
        f"({figures.wrong_names_undoubted} of them without doubt said), cue ball wrong "
        f"{figures.cue_wrong} times."
    ]
    if found:
        lines.append(
            f"Position error: median {figures.median_mm:.2f} mm, 95th percentile "
            f"{figures.p95_mm:.2f} mm, 99th {figures.p99_mm:.2f} mm, worst "
            f"{figures.worst_mm:.2f} mm; {percent(figures.coverage_95)} of errors inside their "
            "stated 95 % ellipse."
        )
    return lines


def print_demo(demo: Demo, console: Console) -> None:
    """The demo's result on a terminal."""
    trial = demo.trial
    lengths = Lengths.on(trial.calibration.table, demo.units)
    for heading, lines in (
        ("Lens", lens_lines(trial.lens)),
        ("Calibration", calibration_lines(trial.calibration)),
    ):
        console.print(f"[bold]{heading}[/]")
        for line in lines:
            console.print(f"  {escape(line)}")
    console.print("[bold]Attempts[/]")
    console.print(attempts_grid(trial.result.attempts, lengths))
    for attempt in trial.result.attempts:
        for warning in attempt.verdict.warnings if attempt.verdict else ():
            console.print(f"  {attempt.attempt}: {escape(warning)}", style="dim")
    console.print("[bold]Summary[/]")
    for line in summary_lines(trial.result.summary, lengths):
        console.print(f"  {escape(line)}")
    console.print("[bold]Accuracy of the reading[/] (rendered stills, exact truth)")
    for line in accuracy_lines(trial):
        console.print(f"  {escape(line)}")
    console.print(
        f"Report: {escape(str(demo.report))}   JSON: {escape(str(demo.folder / SESSION_FILE))}   "
        f"({demo.seconds:.0f} s)"
    )


def serve_demo(demo: Demo, *, port: int, announce: Callable[[str], None]) -> None:
    """Leave the service running on the demo's data, in ``data`` of its folder."""
    from service.api import serve
    from service.desk.session import SessionAttempt, SessionStill, load_session
    from vision.networks import fingerprint

    trial = demo.trial
    data = demo.folder / "data"
    layouts = trial.layouts
    load_session(
        data,
        trial.calibration,
        stills=[
            SessionStill(name=name, data=trial.stills[name], layout=layout)
            for name, layout in layouts.items()
        ],
        attempts=[
            SessionAttempt(
                before=attempt.before,
                after=attempt.after,
                intent=attempt.verdict.intent,
                verdict=attempt.verdict,
                kind=attempt.kind,
            )
            for attempt in trial.result.attempts
            if attempt.verdict is not None and attempt.verdict.intent is not None
        ],
        weights=fingerprint(),
    )
    serve(data, port=port, announce=announce)
