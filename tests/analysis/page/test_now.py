"""The first screen."""

from __future__ import annotations

from starlette.testclient import TestClient


def test_every_enclosure_is_a_sentence(page: TestClient) -> None:
    said = page.get("/").text
    assert "left shelf: " in said
    assert "on the warm side" in said
    assert "right shelf: warm side not known." in said


def test_an_unknown_address_is_said_in_plain_words(page: TestClient) -> None:
    answer = page.get("/nowhere")
    assert answer.status_code == 404
    assert "There is nothing here" in answer.text
