"""The API against its own description: whatever a program sends, no fault of ours comes back, and
every answer is one that the description has.

Requests are made from the description by schemathesis (OpenAPI 3.1; JSON Schema 2020-12).
"""

from __future__ import annotations

from typing import Any, cast

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import Case
from schemathesis.checks import CHECKS, load_all_checks
from schemathesis.core.result import Ok
from schemathesis.schemas import APIOperation
from starlette.types import ASGIApp, Receive, Scope, Send

from analysis.page.app import create_app
from config.home import Home
from tests.analysis.page.conftest import HERE
from tests.analysis.page.homes import NOW

load_all_checks()
Operation = APIOperation[Any, Any, Any, Any]
KEPT = CHECKS.get_by_names(
    [
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_headers_conformance",
        "response_schema_conformance",
        "negative_data_rejection",
    ]
)
LEAST_OPERATIONS = 11
"""In November 2026; there will be more."""


@pytest.fixture(scope="module")
def operations(quiet_home: Home) -> list[Operation]:
    app = create_app(quiet_home, now_ms=lambda: NOW)
    schema = schemathesis.openapi.from_asgi("/api/openapi.json", _from_here(app))
    found = [result.ok() for result in schema.get_all_operations() if isinstance(result, Ok)]
    assert len(found) >= LEAST_OPERATIONS
    return found


@pytest.mark.parametrize(
    "examples", [6, pytest.param(1000, marks=[pytest.mark.campaign, pytest.mark.timeout(3600)])]
)
def test_every_answer_is_as_described(operations: list[Operation], examples: int) -> None:
    for operation in operations:
        ask(operation, examples)


def ask(operation: Operation, examples: int) -> None:
    """So many requests of one kind, the same ones every time."""

    @settings(
        max_examples=examples,
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.explicit, Phase.generate, Phase.shrink],
    )
    @given(case=operation.as_strategy())
    def one(case: Case[Any]) -> None:
        case.call_and_validate(checks=cast(Any, KEPT))

    one()


def _from_here(app: ASGIApp) -> ASGIApp:
    """The app as this machine asks it: schemathesis's own client has neither address nor host."""

    async def asked(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            headers = [one for one in scope["headers"] if one[0] != b"host"]
            scope = {**scope, "client": HERE, "headers": [*headers, (b"host", b"127.0.0.1:8750")]}
        await app(scope, receive, send)

    return asked
