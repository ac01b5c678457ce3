"""axe-core looks at pages where it was installed outside the tree, at RESTMARK_AXE."""

import os
from pathlib import Path

AXE = os.environ.get("RESTMARK_AXE", "")
"""Path of ``axe.min.js``; empty: the look is left out, everything else is tested."""
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


TRANSITIONS_OVER = """() => Promise.allSettled(document.getAnimations()
    .filter(moving => moving instanceof CSSTransition).map(moving => moving.finished))"""


def violations(page) -> list[str]:
    """What axe finds wrong on the page as it stands: rule, where, and why."""
    if not AXE:
        return []
    # evaluated, not added as a script: the pages' content policy takes no inline script
    page.evaluate(Path(AXE).read_text(encoding="utf-8"))
    # a colour half way between two looks is nobody's colour
    page.evaluate(TRANSITIONS_OVER)
    found = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES
    )
    return [
        f"{wrong['id']}: {node['target']}: {node['failureSummary']}"
        for wrong in found["violations"]
        for node in wrong["nodes"]
    ]
