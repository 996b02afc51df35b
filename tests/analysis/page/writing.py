"""A keeper at the forms that write: opens one, changes fields, presses a button."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from httpx2 import Response
from starlette.testclient import TestClient


class _Fields(HTMLParser):
    """What a browser sends of the first form that writes, if nothing is touched."""

    def __init__(self) -> None:
        super().__init__()
        self.action: str | None = None
        self.fields: dict[str, str] = {}
        self._area: str | None = None
        self._within = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        of = {name: value or "" for name, value in attrs}
        if tag == "form" and self.action is None and of.get("action") != "/leave":
            self.action, self._within = of["action"], True
        if not self._within or "name" not in of:
            return
        if tag == "textarea":
            self._area = of["name"]
            self.fields[self._area] = ""
        elif tag == "input" and (of.get("type") != "radio" or "checked" in of):
            self.fields[of["name"]] = of.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._within = False
        self._area = None if tag == "textarea" else self._area

    def handle_data(self, data: str) -> None:
        if self._area is not None:
            self.fields[self._area] += data.removeprefix("\n")


def form_of(html: str) -> tuple[str, dict[str, str]]:
    """Where the form of a page leads, and what stands in it."""
    parser = _Fields()
    parser.feed(html)
    assert parser.action is not None, "no form"
    return parser.action, parser.fields


def open_form(page: TestClient, path: str) -> tuple[str, dict[str, str]]:
    """The form at an address."""
    answer = page.get(path)
    assert answer.status_code == 200, answer.text
    return form_of(answer.text)


def save(page: TestClient, path: str, **changed: str) -> Response:
    """Open a form, change fields, save; the answer."""
    action, fields = open_form(page, path)
    return page.post(action, data={**fields, **changed})


def saved(page: TestClient, path: str, **changed: str) -> str:
    """The same where it must go well: what is said of it, as text."""
    answer = save(page, path, **changed)
    assert answer.status_code == 303, said(answer)
    return said(page.get(answer.headers["location"]))


def said(answer: Response) -> str:
    """The text of a page, without tags."""
    body = answer.text.partition("<main")[2].partition("</main>")[0]
    text = re.sub(r"<[^>]*>", " ", body.partition(">")[2])
    return " ".join(text.replace("&#39;", "'").replace("&#34;", '"').split())


def sure_of(answer: Response) -> str:
    """What the button that says yes to doubts sends."""
    found = re.search(r'name="sure" value="([0-9a-f]+)"', answer.text)
    assert found is not None, said(answer)
    return found[1]
