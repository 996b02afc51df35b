"""The README and the example settings cannot lie for long: every command and setting is there."""

from __future__ import annotations

import re
from pathlib import Path

import typer
from pydantic import BaseModel

from analysis.cli.app import app
from config.settings import Settings, example_settings, parse_settings

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_every_command_is_in_the_readme() -> None:
    commands = set(getattr(typer.main.get_command(app), "commands", {}))
    assert len(commands) > 8
    assert {name for name in commands if f"warmcoil {name}" not in README} == set()


def test_every_command_of_the_readme_exists() -> None:
    commands = set(getattr(typer.main.get_command(app), "commands", {}))
    named = set(re.findall(r"`warmcoil ([a-z-]+)", README))
    assert named - commands == set()


def models_in(annotation: object) -> list[type[BaseModel]]:
    """The settings models in an annotation."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    parts = getattr(annotation, "__args__", ())
    return [model for part in parts for model in models_in(part)]


def names_of(model: type[BaseModel]) -> set[str]:
    names = set()
    for name, field in model.model_fields.items():
        names.add(name)
        for inner in models_in(field.annotation):
            names |= names_of(inner)
    return names


def test_every_setting_is_in_the_example() -> None:
    text = example_settings()
    missing = {n for n in names_of(Settings) if not re.search(rf"\b{n}\b", text)}
    assert missing == set()


def test_the_example_is_all_defaults() -> None:
    assert parse_settings(example_settings(), "example") == Settings()


def test_the_example_uncommented_is_valid() -> None:
    """Every commented setting, taken out of its comment, is one that is accepted."""
    lines = []
    for line in example_settings().splitlines():
        match = re.match(r"# (\[\[?[a-z.]+\]\]?|[a-z_]+ = .+)", line)
        lines.append(match[1] if match else line)
    text = "\n".join(line for line in lines if "_offset_" not in line)
    settings = parse_settings(text, "example")
    assert settings.mqtt.source
    assert settings.serial
    assert settings.probe
