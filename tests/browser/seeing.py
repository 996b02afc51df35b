"""What a person would notice of a page: measured in the browser by `seeing.js`, and by axe-core."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

_MEASURES = Path(__file__).with_name("seeing.js").read_text("utf-8")
_AXE = (resources.files("axe_playwright_python") / "axe.min.js").read_text("utf-8")
WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
"""axe-core's names for the success criteria of WCAG 2.2, levels A and AA."""


def measure(page: Page, name: str, *given: object) -> Any:
    """One of the functions of `seeing.js`."""
    return page.evaluate(f"(given) => ({_MEASURES}).{name}(...given)", list(given))


def violations(page: Page) -> list[str]:
    """Every rule that axe-core finds broken, with where and why."""
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(_AXE)
    options = {"runOnly": {"type": "tag", "values": WCAG}, "resultTypes": ["violations"]}
    found = page.evaluate("(options) => axe.run(document, options)", options)
    assert found["passes"], "axe-core looked at nothing"
    return [
        f"{rule['id']}: {node['target']} {node['failureSummary']}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]
