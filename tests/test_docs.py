"""README and DEVELOPERS.md fail the build when they lie."""

import argparse
import inspect
import re
from functools import cache
from pathlib import Path

import pytest

from qa.cli import make_parser
from qa.model import errors
from tests.write_export_columns import write_into

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@cache
def commands() -> dict[str, argparse.ArgumentParser]:
    """Every command by name; the actions of a command too ("quarantine list")."""
    return find_commands(make_parser())


def find_commands(parser: argparse.ArgumentParser, above: str = "") -> dict:
    found = {}
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, inner in action.choices.items():
                found[f"{above}{name}"] = inner
                found |= find_commands(inner, f"{above}{name} ")
    return found


def test_job_stands_in_one_paragraph_at_the_top() -> None:
    title, job = README.split("\n\n")[:2]
    assert title == "# elastography-qa"
    assert len(job.splitlines()) > 3


@pytest.mark.parametrize("name", commands())
def test_command_is_documented_with_its_options(name: str) -> None:
    command = name.split()[0]
    rows = [line for line in README.splitlines() if line.startswith(f"| `elastoqa {command}")]
    assert rows, f"{command} is not in README.md"
    row = " ".join(rows)
    for action in commands()[name]._actions:
        for option in action.option_strings:
            if option.startswith("--") and option not in ("--help", "--network"):
                assert option in row, f"{name} {option} is not in README.md"


@pytest.mark.parametrize("name", commands())
def test_command_help_names_every_argument_in_words(name: str) -> None:
    parser = commands()[name]
    assert parser.description
    for action in parser._actions:
        is_list_of_actions = isinstance(action, argparse._SubParsersAction)
        assert action.help or is_list_of_actions, f"{name}: {action.dest} has no help"


def test_every_exit_code_is_documented() -> None:
    line = README.split("Exit codes:")[1].split("\n\n")[0]
    for _, kind in inspect.getmembers(errors, inspect.isclass):
        if issubclass(kind, errors.UserError) and kind is not errors.UserError:
            assert re.search(rf"\b{kind.exit_code}\b", line), kind.__name__
            assert kind.__name__ in (errors.__doc__ or "")


def test_export_columns_are_those_of_the_schemas() -> None:
    assert write_into(README) == README, "run: python -m tests.write_export_columns"


def test_pictures_of_the_readme_exist_and_are_small() -> None:
    pictures = re.findall(r"!\[.*?\]\((.*?)\)", README)
    assert pictures
    for picture in pictures:
        assert (ROOT / picture).stat().st_size < 400_000, picture


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_named_files_and_folders_exist(text: str) -> None:
    for name in re.findall(r"`((?:qa|tests|dashboard|reports|demo_sites)/[\w/.]*)`", text):
        assert (ROOT / name).exists(), name
