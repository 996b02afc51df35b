"""How a browser uses a form: it opens the page, and sends back the fields with the token."""

from __future__ import annotations

import re

from starlette.testclient import TestClient


def token_on(page: TestClient, path: str) -> str:
    """The token of the first form on a page."""
    found = re.search(r'name="form_token" value="([0-9a-f]+)"', page.get(path).text)
    assert found is not None, f"no form on {path}"
    return found[1]


def come_in(page: TestClient, passphrase: str, to: str = "/") -> int:
    """Say the pass phrase at the door; the status of the answer."""
    token = token_on(page, "/enter")
    data = {"form_token": token, "passphrase": passphrase, "to": to}
    return page.post("/enter", data=data).status_code
