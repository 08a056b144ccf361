"""The server's log: JSON lines without anything that somebody typed."""

import json
import logging
from datetime import UTC, datetime

from dashboard.logs import JsonLines
from qa.model.permissions import Role


def test_log_holds_one_line_of_json_and_nothing_that_was_typed(browser_of, make_browser) -> None:
    lines: list[str] = []

    class Kept(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            lines.append(JsonLines().format(record))

    logger, handler = logging.getLogger("elastoqa"), Kept()
    logger.addHandler(handler)
    level = logger.level
    logger.setLevel(logging.INFO)
    try:
        browser = make_browser()
        browser.get("/site?site=secret%0a%7b%22level%22:%22forged%22%7d")
        browser.get("/link/secret-token")
        browser.get("/secret-path%0aforged")
        browser.log_in("secret@y.invalid", "secret password")
        browser_of(Role.QA_MANAGER).post_json("/_dash-update-component", {"secret": 1})
    finally:
        logger.removeHandler(handler)
        logger.setLevel(level)
    assert len(lines) >= 5
    for line in lines:
        assert "\n" not in line
        assert json.loads(line)["level"] in ("info", "warning")
        assert "secret" not in line
        assert "forged" not in line


def test_fault_in_the_log_has_places_and_no_values() -> None:
    try:
        raise ValueError("Una Brack, born 1950")
    except ValueError as fault:
        record = logging.LogRecord("flask.app", 40, "", 0, "at %s", ("Brack",), None)
        record.exc_info = (ValueError, fault, fault.__traceback__)
    said = JsonLines().format(record)
    assert "Brack" not in said
    assert json.loads(said)["fault"][-1] == "ValueError"
    assert datetime.fromisoformat(json.loads(said)["at"]).tzinfo == UTC
