"""Trying a file through the form: what is shown, what is refused, and that nothing is kept."""

import io
from pathlib import Path
from threading import Lock

import pytest

from dashboard.addresses import Form
from dashboard.app import create_app
from dashboard.try_file import (
    LONGEST_NAME,
    MAX_FILE_BYTES,
    MAX_PROFILE_BYTES,
    file_name_of,
    plain_name,
)
from qa.model.errors import NetworkFolderError, ProfileError, SourceFileError
from qa.views.tried import Proposal, Trial
from tests.pages.sample_published import sample_published

OWN = {"Origin": "http://127.0.0.1:8050"}
BASE = "http://127.0.0.1:8050"
TRIAL = Trial(
    answer="By profile plain.v1 1 row would enter and 1 would wait.",
    facts=(("Exams", "2026-03-05 to 2026-03-05"),),
    waiting=(("1", "The unit of the value is missing.", "CHK-039"),),
    flagged=(),
    headings=("exam_key", "operator_id"),
    rows=(("0a1b2c3d", "<script>alert(1)</script>"),),
)
PROPOSAL = Proposal(
    answer="A profile is proposed.",
    text='id = "x"\n# </textarea><script>alert(1)</script>\n',
    placed=(("stiffness", "E<b>", "likely", "the heading says so"),),
    questions=("Which day comes first?",),
    left_out=("Name",),
    unplaced=(("Ratio %", "codes"),),
)


class Tools:
    """Notes what it was handed and answers what a test tells it to."""

    def __init__(self, fault: Exception | None = None) -> None:
        self.fault = fault
        self.seen: list[tuple[str, bytes, str | None]] = []
        self.profiles: list[str] = []

    def network_name(self) -> str:
        return "Harrow Isles Liver Network"

    def sites(self) -> tuple[tuple[str, str], ...]:
        return (("S1", "Alder <Sound>"), ("S2", "Bracken Hill"))

    def _note(self, name: str, content: bytes, site_id: str | None) -> None:
        self.seen.append((name, content, site_id))
        if self.fault:
            raise self.fault

    def suggest(self, *, name: str, content: bytes, site_id: str | None) -> Proposal:
        self._note(name, content, site_id)
        return PROPOSAL

    def check(
        self, *, name: str, content: bytes, site_id: str | None, profile_text: str = ""
    ) -> Trial:
        self.profiles.append(profile_text)
        self._note(name, content, site_id)
        return TRIAL


def client_of(tools: Tools, prefix: str = "/"):
    app = create_app(sample_published, profile_tools=tools, path_prefix=prefix)
    return app.server.test_client()


def send(tools: Tools, content: bytes = b"a;b\n1;2\n", *, name="october.csv", headers=OWN, **form):
    fields = {"site": "S1", "what": "check", "file": (io.BytesIO(content), name), **form}
    return client_of(tools).post(
        Form.TRY,
        data={key: value for key, value in fields.items() if value is not None},
        headers=headers,
        base_url=BASE,
    )


def send_large(tools: Tools, n_bytes: int):
    """Put together by hand: the test client would write a large form to the disk first."""
    line = b"--edge\r\n"
    head = b'Content-Disposition: form-data; name="%s"%s\r\n\r\n'
    body = line + head % (b"site", b"") + b"S1\r\n" + line + head % (b"what", b"") + b"check\r\n"
    body += line + head % (b"file", b'; filename="a.csv"') + b"x" * n_bytes
    return client_of(tools).post(
        Form.TRY,
        data=body + b"\r\n--edge--\r\n",
        content_type="multipart/form-data; boundary=edge",
        headers=OWN,
        base_url=BASE,
    )


def test_form_lists_the_sites_and_chooses_the_one_of_the_address():
    page = client_of(Tools()).get(Form.TRY, query_string={"site": "S2"}, base_url=BASE)
    assert page.status_code == 200
    assert "Alder &lt;Sound&gt;" in page.text
    assert '<option value="S2" selected>' in page.text
    assert "frame-ancestors 'none'" in page.headers["Content-Security-Policy"]


def test_app_without_tools_has_no_form():
    client = create_app(sample_published).server.test_client()
    assert 'type="file"' not in client.get(Form.TRY, base_url=BASE).text
    assert client.post(Form.TRY, base_url=BASE, headers=OWN).status_code == 405


def test_form_below_a_prefix_sends_to_itself():
    page = client_of(Tools(), prefix="/qa/").get("/qa" + Form.TRY, base_url=BASE)
    assert 'action="/qa/intake/try"' in page.text
    assert 'href="/qa/assets/look.css?m=' in page.text


def test_check_shows_what_would_enter_escaped_and_not_to_be_stored_by_the_browser():
    tools = Tools()
    page = send(tools)
    assert page.status_code == 200
    assert tools.seen == [("october.csv", b"a;b\n1;2\n", "S1")]
    assert "By profile plain.v1 1 row would enter and 1 would wait." in page.text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page.text
    assert "<script>alert" not in page.text
    assert page.headers["Cache-Control"] == "no-store"


def test_profile_is_saved_as_it_stands_in_the_field_without_a_file():
    tools = Tools()
    text = 'id = "harbour"\r\nversion = 3\r\n# <b>\r\n'
    page = send(tools, file=None, what="save", profile=text)
    assert page.text == text.replace("\r\n", "\n")
    assert page.mimetype == "application/toml"
    assert page.headers["Content-Disposition"] == 'attachment; filename="harbour.v3.toml"'
    assert tools.seen == []
    assert send(tools, file=None, what="save").status_code == 400
    assert send(tools, what="save", profile=text, headers={}).status_code == 403


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ('id = "harbour"\nversion = 2', "harbour.v2.toml"),
        ('version = 2\nid = "a.b-c"', "a.b-c.v2.toml"),
        ("x = 1", "profile.v1.toml"),
        ('id = "../../etc/x\\"; b"', "profile.v1.toml"),
        ('id = "a\r\nX-Evil: 1"', "profile.v1.toml"),
    ],
)
def test_name_of_a_saved_profile_holds_nothing_but_its_id_and_version(text: str, name: str):
    assert file_name_of(text) == name


def test_suggest_shows_the_profile_to_copy_escaped():
    tools = Tools()
    page = send(tools, site="", what="suggest")
    assert tools.seen[0][2] is None
    assert "# &lt;/textarea&gt;&lt;script&gt;" in page.text
    assert "<script>alert" not in page.text
    assert "E&lt;b&gt;" in page.text
    assert "Which day comes first?" in page.text


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "https://127.0.0.1:8050"},
        {**OWN, "Sec-Fetch-Site": "cross-site"},
        {**OWN, "Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "same-origin"},
    ],
)
def test_file_from_another_origin_is_not_looked_at(headers):
    tools = Tools()
    page = send(tools, headers=headers)
    assert page.status_code == 403
    assert "did not come from this page" in page.text
    assert tools.seen == []


def test_another_name_for_this_machine_gets_nothing():
    """A page whose name resolves to 127.0.0.1 has an origin that equals the host."""
    tools = Tools()
    base = "http://elsewhere.example:8050"
    page = client_of(tools).post(
        Form.TRY,
        data={"site": "S1", "file": (io.BytesIO(b"x"), "a.csv")},
        headers={"Origin": base},
        base_url=base,
    )
    assert page.status_code == 403
    assert tools.seen == []
    assert "Bracken Hill" not in page.text


def test_file_at_the_limit_is_tried_and_one_above_it_is_not():
    tools = Tools()
    assert send_large(tools, MAX_FILE_BYTES).status_code == 200
    page = send_large(tools, MAX_FILE_BYTES + 1)
    assert page.status_code == 413
    assert "Up to 20 MB are" in page.text
    assert send_large(tools, MAX_FILE_BYTES + MAX_PROFILE_BYTES + 100_000).status_code == 413
    assert len(tools.seen) == 1


def test_large_file_touches_no_disk(monkeypatch):
    def refuse(*args, **kwargs):
        raise AssertionError("a temporary file was opened")

    monkeypatch.setattr("tempfile.TemporaryFile", refuse)
    monkeypatch.setattr("tempfile.SpooledTemporaryFile", refuse)
    monkeypatch.setattr("werkzeug.formparser.TemporaryFile", refuse, raising=False)
    monkeypatch.setattr("werkzeug.formparser.SpooledTemporaryFile", refuse, raising=False)
    tools = Tools()
    assert send_large(tools, 2_000_000).status_code == 200
    assert len(tools.seen[0][1]) == 2_000_000


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"file": None}, "No file was chosen."),
        ({"name": ""}, "No file was chosen."),
        ({"site": "S99"}, "There is no such site in this network."),
        ({"site": "<b>"}, "There is no such site in this network."),
        ({"site": ""}, "Choose the site that sent the file."),
        ({"site": None}, "Choose the site that sent the file."),
    ],
)
def test_form_filled_in_wrongly_is_answered_in_words(form, said):
    tools = Tools()
    page = send(tools, **form)
    assert page.status_code == 400
    assert said in page.text
    assert tools.seen == []


def test_form_of_many_parts_is_refused():
    page = send(Tools(), **{f"more{number}": "x" for number in range(50)})
    assert page.status_code == 413


def test_message_of_a_file_that_cannot_be_read_is_shown():
    problem = SourceFileError("the file is no text file", where="x<i>.csv", code="INT-003")
    page = send(Tools(problem))
    assert page.status_code == 422
    assert "[INT-003] x&lt;i&gt;.csv: the file is no text file." in page.text


def test_fault_of_ours_is_logged_without_what_the_file_holds(caplog):
    page = send(Tools(RuntimeError("cell 'Quillfeather' is odd")))
    assert page.status_code == 500
    assert "The fault is ours" in page.text
    assert "RuntimeError" in caplog.text
    assert "Quillfeather" not in caplog.text + page.text


def test_network_that_cannot_be_read_is_said():
    class Lost(Tools):
        def sites(self):
            raise NetworkFolderError("network.toml is missing")

        network_name = sites

    page = client_of(Lost()).get(Form.TRY, base_url=BASE)
    assert page.status_code == 422
    assert "network.toml is missing." in page.text


def test_second_file_at_a_time_is_asked_to_wait(monkeypatch):
    taken = Lock()
    taken.acquire()
    monkeypatch.setattr("dashboard.try_file.Lock", lambda: taken)
    page = send(Tools())
    assert page.status_code == 503
    assert "Another file is being tried." in page.text


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("../../etc/October.csv", "October.csv"),
        ("C:\\exports\\october.csv", "october.csv"),
        ("/etc/passwd", "passwd"),
        ("a\x00b\u202e\n.csv", "ab.csv"),
        ("..", "file"),
        ("x/..", "file"),
        ("", "file"),
        ("y" * 300 + ".csv", "y" * (LONGEST_NAME - 4) + ".csv"),
    ],
)
def test_plain_name_has_no_path_and_no_signs_that_do_not_show(name, plain):
    assert plain_name(name) == plain
    assert Path(plain).name == plain


def test_file_name_with_a_path_reaches_nothing_but_its_last_part():
    tools = Tools()
    assert send(tools, name="../../../network.toml").status_code == 200
    assert tools.seen[0][0] == "network.toml"


MENDED = 'id = "plain"\nversion = 2\n# </textarea><script>alert(1)</script>\n'


@pytest.mark.parametrize("way", ["text", "file", "both"])
def test_mended_profile_is_tried_and_stands_there_to_be_mended_on(way):
    tools = Tools()
    form = {"profile": MENDED if way == "text" else "id = 1"} if way != "file" else {}
    if way != "text":
        form["profile_file"] = (io.BytesIO(b"\xef\xbb\xbf" + MENDED.encode()), "p.toml")
    page = send(tools, **form)
    assert page.status_code == 200
    assert [text.replace("\r\n", "\n") for text in tools.profiles] == [MENDED]
    assert "By the profile that was sent along; the site's own is as it was." in page.text
    assert "version = 2" in page.text
    assert "# &lt;/textarea&gt;" in page.text
    assert "<script>alert" not in page.text


def test_profile_that_names_the_sites_needs_no_site():
    tools = Tools()
    assert send(tools, site="", profile=MENDED).status_code == 200
    assert tools.seen[0][2] is None


def test_profile_without_text_is_none():
    tools = Tools()
    assert "sent along" not in send(tools, profile=" \n").text
    assert tools.profiles == [""]


def test_profile_that_is_wrong_is_said_and_stays_in_the_form():
    fault = ProfileError("'colums' is no key", where="the profile that was sent", code="PRF-003")
    page = send(Tools(fault), profile=MENDED)
    assert page.status_code == 422
    assert "[PRF-003] the profile that was sent: &#39;colums&#39; is no key." in page.text
    assert "version = 2" in page.text


@pytest.mark.parametrize(
    ("content", "status", "said"),
    [
        (b"\xff\xfe\x00", 400, "The profile is no UTF-8 text."),
        (b"#" * (MAX_PROFILE_BYTES + 1), 413, "up to 256 kB are taken"),
    ],
)
def test_profile_that_cannot_be_read_is_refused_in_words(content, status, said):
    tools = Tools()
    page = send(tools, profile_file=(io.BytesIO(content), "p.toml"))
    assert page.status_code == status
    assert said in page.text
    assert tools.seen == []


def test_proposed_profile_can_be_sent_with_the_form_below_it():
    page = send(Tools(), what="suggest")
    assert 'name="profile" form="try"' in page.text
    assert page.text.count('name="profile"') == 1
