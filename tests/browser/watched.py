"""What a page asks for and complains of while it is looked at."""

from __future__ import annotations

from playwright.sync_api import ConsoleMessage, Error, Page, Request, Response

_TELL_VIOLATIONS = """
window.refused = [];
document.addEventListener("securitypolicyviolation", (one) =>
  window.refused.push(`${one.violatedDirective}: ${one.blockedURI || one.sample}`));
"""


class Watched:
    """Listens to a page from before its first request."""

    def __init__(self, page: Page, address: str) -> None:
        self._page = page
        self._address = address
        self.elsewhere: list[str] = []
        """Requests that would leave this page's own host and port."""
        self.complaints: list[str] = []
        """Errors and warnings of the console, thrown errors, and what could not be loaded."""
        page.on("request", self._asked)
        page.on("response", self._answered)
        page.on("requestfailed", self._failed)
        page.on("console", self._said)
        page.on("pageerror", self._threw)
        page.add_init_script(_TELL_VIOLATIONS)

    def must_be_clean(self, what: str) -> None:
        """Fail when it asked elsewhere or complained."""
        refused = self._page.evaluate("window.refused ?? []")
        assert not self.elsewhere, f"{what} asks other hosts: {self.elsewhere}"
        complaints = [*self.complaints, *refused]
        assert not complaints, f"{what} complains: {complaints}"

    def _asked(self, request: Request) -> None:
        url = request.url
        if not url.startswith((f"{self._address}/", "data:", "blob:")):
            self.elsewhere.append(url)

    def _answered(self, response: Response) -> None:
        if response.status >= 400 and not response.request.is_navigation_request():
            self.complaints.append(f"{response.status}: {response.url}")

    def _failed(self, request: Request) -> None:
        if request.failure != "net::ERR_ABORTED":  # what the browser gave up as it went on
            self.complaints.append(f"{request.failure}: {request.url}")

    def _said(self, message: ConsoleMessage) -> None:
        refused_navigation = "status of 4" in message.text  # the screen itself is a refusal
        if message.type in ("error", "warning") and not refused_navigation:
            self.complaints.append(f"{message.type}: {message.text}")

    def _threw(self, error: Error) -> None:
        self.complaints.append(f"thrown: {error}")
