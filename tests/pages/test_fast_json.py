"""Answers written by orjson hold what Dash's own writer would have written."""

import json
from datetime import date

import pytest
from dash import _utils, html

from dashboard.addresses import Page
from dashboard.app import render
from dashboard.fast_json import write_json
from tests.pages.sample_published import sample_published

SLOW = _utils.to_json


@pytest.mark.parametrize("page", list(Page))
def test_screen_is_written_as_dash_would(page: Page) -> None:
    shown = {"response": render(page, sample_published, {})}
    assert json.loads(write_json(shown)) == json.loads(SLOW(shown))


@pytest.mark.parametrize(
    "value",
    [
        html.P(None),
        {"x": [1.5, float("nan"), None, True]},
        {"day": date(2026, 10, 1), 1: "a"},
        ("a", ("b",)),
        html.Div([html.P("ä <b>"), "text", 3], **{"aria-label": "x"}),
    ],
)
def test_value_is_written_as_dash_would(value: object) -> None:
    assert json.loads(write_json(value)) == json.loads(SLOW(value))


def test_what_orjson_does_not_know_goes_the_old_way() -> None:
    import numpy as np

    assert json.loads(write_json({"x": np.array([1, 2])})) == {"x": [1, 2]}
