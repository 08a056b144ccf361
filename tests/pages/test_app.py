"""The app as a server: addresses, headers, prefix, health, and the snapshot it reads."""

import json

import pytest

from dashboard.addresses import Download, Page
from dashboard.app import create_app
from dashboard.source import CurrentSnapshot
from qa.model.errors import SnapshotError
from tests.pages.sample_published import sample_published


@pytest.fixture
def client():
    return create_app(sample_published).server.test_client()


def navigate(client, path, search="", prefix="/"):
    """The answer to the one callback that Dash Pages uses to show an address."""
    body = {
        "output": ".._pages_content.children..._pages_store.data..",
        "outputs": [
            {"id": "_pages_content", "property": "children"},
            {"id": "_pages_store", "property": "data"},
        ],
        "inputs": [
            {"id": "_pages_location", "property": "pathname", "value": path},
            {"id": "_pages_location", "property": "search", "value": search},
        ],
        "changedPropIds": ["_pages_location.pathname"],
    }
    return client.post(f"{prefix}_dash-update-component", json=body)


@pytest.mark.parametrize("page", list(Page))
def test_create_app_answers_every_address(client, page):
    answer = navigate(client, page.value)
    assert answer.status_code == 200
    content = json.loads(answer.data)["response"]
    assert content["_pages_store"]["data"]["title"].endswith("Elastography QA")
    assert "could not be made" not in answer.text


def test_create_app_titles_name_no_site(client):
    answer = navigate(client, "/site", "?site=S3")
    title = json.loads(answer.data)["response"]["_pages_store"]["data"]["title"]
    assert title == "Sites – Elastography QA"


def test_create_app_unknown_address_says_so(client):
    assert "There is no such page." in navigate(client, "/nowhere").text


def test_create_app_sets_language_and_headers(client):
    answer = client.get("/")
    assert '<html lang="en">' in answer.text
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    policy = answer.headers["Content-Security-Policy"]
    script = next(part for part in policy.split("; ") if part.startswith("script-src"))
    assert "unsafe" not in script
    assert "http" not in policy
    assert "default-src 'none'" in policy


def test_create_app_health_answers(client):
    assert client.get("/health").status_code == 200


def test_create_app_nothing_is_fetched_from_elsewhere(client):
    page = client.get("/").text
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "https://" not in page


def test_create_app_below_a_prefix_serves_pages_downloads_and_health():
    client = create_app(sample_published, path_prefix="/qa/").server.test_client()
    assert "/qa/assets/first.js?m=" in client.get("/qa/").text
    with client.get("/qa/assets/first.js") as script:
        assert script.status_code == 200
    assert client.get("/qa/health").status_code == 200
    assert client.get("/qa" + Download.SITES.value).mimetype == "text/csv"
    assert "One thing needs you" in navigate(client, "/qa/", prefix="/qa/").text


def test_current_snapshot_without_a_snapshot_says_what_to_do(tmp_path):
    with pytest.raises(SnapshotError, match="refresh"):
        CurrentSnapshot(tmp_path)()
