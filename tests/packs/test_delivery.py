"""Packs and reminders go out once, over TLS, to a real server; what comes back is kept."""

import email
import json
import sqlite3
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from email import policy
from pathlib import Path

import pytest

from qa.cli import main
from qa.followup.pack_records import PACK, PackRecord
from qa.jobs.delivery import AllDelivered, deliver_all
from qa.jobs.followup.opening import load_record, open_record
from qa.jobs.followup.trail import verify_trail
from qa.model.delivery import Sent
from qa.model.errors import DeliveryError, NetworkFolderError
from qa.model.parsing import parse_network
from qa.model.sealed import seal
from qa.stores.followup.reminders import Reminder, insert_new
from qa.stores.pack_archive import archive_pack
from tests.packs.mail_server import PASSWORD, Server, running_mail_server

MONTH = date(2026, 10, 1)
AT = datetime(2026, 11, 5, 7, 0, tzinfo=UTC)
PDF = b"%PDF-1.4\ninvented\n%%EOF\n"
NETWORK = """
id = "invented"
name = "Invented network"
is_invented = true
[[sites]]
id = "S1"
name = "Eider Point"
time_zone = "UTC"
profile = "p"
[[sites]]
id = "S2"
name = "Śliwice Nördlich"
time_zone = "UTC"
profile = "p"
[[criteria]]
id = "common-practice.v1"
from = 2023-11-01
[log_in]
public_url = "https://qa.invalid"
"""


@pytest.fixture(autouse=True)
def _short_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    """Servers that fall silent are given up on after a second instead of thirty."""
    monkeypatch.setattr("qa.stores.mail.TIMEOUT_S", 1.0)


@pytest.fixture(scope="module")
def mail(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with running_mail_server(tmp_path_factory.mktemp("mail")) as server:
        yield server


@pytest.fixture
def inbox(mail: Server) -> Server:
    """The server with nothing in it."""
    for path in (*mail.folder.glob("*.eml"), *mail.folder.glob("wishes.txt")):
        path.unlink()
    return mail


def make_network(root: Path, server: Server | None = None, **settings: object) -> Path:
    """A network folder whose two sites have a pack each."""
    lines = ["[delivery]", 'sender = "qa@network.invalid"']
    if server:
        lines += ['smtp_host = "127.0.0.1"', f"smtp_port = {server.port}"]
        lines.append(f'ca_file = "{server.certificate}"')
    lines += [f"{key} = {json.dumps(value)}" for key, value in settings.items() if key != "to"]
    to = settings.get("to", {"S1": ["lead@eider.invalid"], "S2": ["Lead@sliwice.invalid"]})
    lines += ["[delivery.to]", *(f"{site} = {json.dumps(some)}" for site, some in to.items())]  # type: ignore[attr-defined]
    root.mkdir(exist_ok=True)
    (root / "network.toml").write_text(NETWORK + "\n".join(lines), encoding="utf-8")
    for site_id in ("S1", "S2"):
        archive_pack(
            root, month=MONTH, site_id=site_id, number=1, pdf=PDF, manifest=seal({"number": 1})
        )
    return root


def deliver(folder: Path, environ: dict[str, str] | None = None, days: int = 0) -> AllDelivered:
    at = AT + timedelta(days=days)
    return deliver_all(folder, month=None, by="command line", at=at, environ=environ or {})


def pack_of(folder: Path, site_id: str = "S1") -> PackRecord:
    store = open_record(folder, environ={})
    try:
        assert not verify_trail(store).faults
        with store.reading() as reading:
            return load_record(reading, PACK, f"{site_id}-2026-10-1")
    finally:
        store.close()


def n_events(folder: Path) -> int:
    with sqlite3.connect(folder / "followup.sqlite") as connection:
        return int(connection.execute("select count(*) from events").fetchone()[0])


def test_each_lead_gets_a_link_once(inbox: Server, tmp_path: Path) -> None:
    folder = make_network(tmp_path / "n", inbox)
    first = deliver(folder)
    assert (first.packs.n_sent, first.failed) == (2, ())
    messages = [email.message_from_bytes(one, policy=policy.default) for one in inbox.messages()]
    assert [one["To"] for one in messages] == ["lead@eider.invalid", "lead@sliwice.invalid"]
    assert messages[1]["Subject"] == "Invented network: audit pack Śliwice Nördlich, October 2026"
    assert "https://qa.invalid/packs/issued?site=S1&month=2026-10&number=1" in str(
        messages[0].get_content()
    )
    assert "All data of this network are invented." in str(messages[0].get_content())
    # RFC 3461, section 4.1: the sender asks for reports by NOTIFY.
    assert inbox.wishes()[0] == "TO:<lead@eider.invalid> NOTIFY=SUCCESS,FAILURE"
    known = n_events(folder)
    again = deliver(folder, days=1)
    assert (again.packs.n_sent, again.packs.n_before) == (0, 2)
    assert (len(inbox.messages()), n_events(folder)) == (2, known)
    assert pack_of(folder).sendings[0].state is Sent.SENT


def test_attached_pack_arrives_byte_for_byte(inbox: Server, tmp_path: Path) -> None:
    deliver(make_network(tmp_path / "n", inbox, sends="attachment"))
    message = email.message_from_bytes(inbox.messages()[0], policy=policy.default)
    (part,) = message.iter_attachments()
    assert part.get_filename() == "S1-2026-10-1.pdf"
    assert part.get_content() == PDF


def test_refused_for_good_is_returned_and_not_tried_again(inbox: Server, tmp_path: Path) -> None:
    folder = make_network(tmp_path / "n", inbox, to={"S1": ["gone@x.invalid", "ok@x.invalid"]})
    first = deliver(folder)
    assert first.packs.n_sent == 1
    assert "550 5.1.1 no such mailbox here" in first.failed[0]
    assert "nobody to send it to" in first.failed[1]
    with pytest.raises(DeliveryError, match="DLV-020"):
        first.raise_for_failed()
    assert [one.to for one in pack_of(folder).returned] == ["gone@x.invalid"]
    assert len(inbox.wishes()) == 2
    deliver(folder, days=1)
    assert len(inbox.wishes()) == 2


def test_refused_for_now_waits_and_is_said_once(inbox: Server, tmp_path: Path) -> None:
    folder = make_network(tmp_path / "n", inbox, to={"S1": ["later@x.invalid"]})
    assert "451" in deliver(folder).failed[0]
    known = n_events(folder)
    assert "451" in deliver(folder, days=1).failed[0]
    assert n_events(folder) == known
    assert pack_of(folder).sendings[0].state is Sent.WAITING


def test_shared_folder_holds_pdf_and_manifest(tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    folder = make_network(tmp_path / "n", folder=str(shared))
    missing = deliver(folder)
    assert "[DLV-010]" in missing.failed[0]
    shared.mkdir()
    assert deliver(folder, days=1).packs.n_sent == 2
    names = sorted(path.relative_to(shared).as_posix() for path in shared.rglob("*.*"))
    assert names == [
        "2026-10/S1/S1-2026-10-1.json",
        "2026-10/S1/S1-2026-10-1.pdf",
        "2026-10/S2/S2-2026-10-1.json",
        "2026-10/S2/S2-2026-10-1.pdf",
    ]
    assert (shared / names[1]).read_bytes() == PDF
    assert deliver(folder, days=2).packs.n_sent == 0


def test_another_file_in_the_shared_folder_is_never_replaced(tmp_path: Path) -> None:
    shared = tmp_path / "shared" / "2026-10" / "S1"
    shared.mkdir(parents=True)
    (shared / "S1-2026-10-1.pdf").write_bytes(b"somebody's")
    folder = make_network(tmp_path / "n", folder=str(tmp_path / "shared"))
    assert "[DLV-011]" in deliver(folder).failed[0]
    assert (shared / "S1-2026-10-1.pdf").read_bytes() == b"somebody's"


@pytest.mark.parametrize(
    ("mode", "security", "says"),
    [
        ("tls", "tls", ""),
        ("plain", "starttls", "DLV-002"),
        ("tls", "starttls", "DLV-001"),
        ("off", "starttls", "DLV-001"),
    ],
)
def test_mail_goes_over_tls_or_not_at_all(
    tmp_path: Path, mail: Server, mode: str, security: str, says: str
) -> None:
    for name in ("mail.pem", "mail.key"):
        (tmp_path / name).write_bytes((mail.folder / name).read_bytes())
    with running_mail_server(tmp_path, mode="tls" if mode == "off" else mode) as server:
        if mode == "off":
            server.port = 9
        report = deliver(make_network(tmp_path / "n", server, security=security))
        if says:
            assert says in report.failed[0]
            assert server.messages() == []
        else:
            assert report.packs.n_sent == 2


def test_an_unknown_certificate_is_not_trusted(inbox: Server, tmp_path: Path) -> None:
    folder = make_network(tmp_path / "n", inbox)
    path = folder / "network.toml"
    path.write_text(path.read_text().replace(f'ca_file = "{inbox.certificate}"', ""))
    report = deliver(folder)
    assert "DLV-002" in report.failed[0]
    assert inbox.messages() == []


@pytest.mark.parametrize(("password", "n_sent"), [(PASSWORD, 2), ("wrong", 0)])
def test_log_in_at_the_server(inbox: Server, tmp_path: Path, password: str, n_sent: int) -> None:
    folder = make_network(tmp_path / "n", inbox, user="qa", password_file="mail.password")
    secret = folder / "mail.password"
    secret.write_text(password)
    assert "DLV-004" in deliver(folder).failed[0]  # others may read it
    secret.chmod(0o600)
    report = deliver(folder)
    assert report.packs.n_sent == n_sent
    if not n_sent:
        assert "DLV-003" in report.failed[0]
        assert password not in report.failed[0]


# The shape is that of the example in RFC 3464, appendix E.1, with our message's id.
DSN = """From: Mail Delivery Subsystem <MAILER-DAEMON@cs.utk.example>
Subject: Returned mail: Cannot send message for 5 days
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
      boundary="RAA14128.773615765/CS.UTK.EXAMPLE"

--RAA14128.773615765/CS.UTK.EXAMPLE

The original message was received at Sat, 2 Jul 1994 17:10:28 -0400

--RAA14128.773615765/CS.UTK.EXAMPLE
content-type: message/delivery-status

Reporting-MTA: dns; cs.utk.example

Original-Recipient: rfc822;lead@eider.invalid
Final-Recipient: rfc822;lead@eider.invalid
Action: {action}
Status: {status}
Diagnostic-Code: smtp; {words}

--RAA14128.773615765/CS.UTK.EXAMPLE
content-type: message/rfc822

Message-ID: {id}
Subject: audit pack

--RAA14128.773615765/CS.UTK.EXAMPLE--
"""
# The shape is that of the example in RFC 8098, section 9.
MDN = """From: lead@eider.invalid
MIME-Version: 1.0
Content-Type: multipart/report; report-type=disposition-notification;
      boundary="RAA14128.773615765/example.com"

--RAA14128.773615765/example.com
Content-type: text/plain

The message has been displayed.

--RAA14128.773615765/example.com
Content-type: message/disposition-notification

Final-Recipient: rfc822;lead@eider.invalid
Original-Message-ID: {id}
Disposition: manual-action/MDN-sent-manually; displayed

--RAA14128.773615765/example.com--
"""


def returned(content: str, inbox: Server, **words: str) -> str:
    sent = email.message_from_bytes(inbox.messages()[0], policy=policy.default)
    return content.format(id=sent["Message-ID"], **words)


@pytest.mark.parametrize(
    ("action", "state"),
    [("failed", Sent.RETURNED), ("delivered", Sent.RECEIVED), ("delayed", Sent.SENT)],
)
def test_a_report_of_the_mail_system_is_kept_once(
    inbox: Server, tmp_path: Path, action: str, state: Sent
) -> None:
    folder = make_network(tmp_path / "n", inbox, returned="back")
    (folder / "back" / "new").mkdir(parents=True)
    deliver(folder)
    words = returned(DSN, inbox, action=action, status="4.0.0", words="426 connection timed out")
    (folder / "back" / "new" / "1").write_text(words)
    (folder / "back" / "new" / "2").write_text("Subject: lunch\n\nno report")
    report = deliver(folder, days=1)
    sending = pack_of(folder).sending("lead@eider.invalid")
    assert sending is not None
    assert sending.state is state
    if state is Sent.RETURNED:
        assert report.returns.new[0][0] == "S1-2026-10-1"
        assert sending.why == "4.0.0 smtp; 426 connection timed out"
    known = n_events(folder)
    deliver(folder, days=2)
    assert n_events(folder) == known


def test_a_read_receipt_makes_the_pack_read(inbox: Server, tmp_path: Path) -> None:
    folder = make_network(tmp_path / "n", inbox, returned="back")
    (folder / "back").mkdir()
    deliver(folder)
    assert not pack_of(folder).is_read
    (folder / "back" / "receipt").write_text(returned(MDN, inbox))
    deliver(folder, days=1)
    assert pack_of(folder).is_read


def test_reminders_that_wait_are_sent_once_for_each_person(inbox: Server, tmp_path: Path) -> None:
    folder = make_network(tmp_path / "n", inbox, to={})
    store = open_record(folder, environ={})
    people = ("ines@x.invalid", "ines@x.invalid", "nobody known")
    wanted = [
        Reminder(f"r{n}", "case", f"CASE-{n}", f"step {n}", person, "2026-10-20", "t", None)
        for n, person in enumerate(people)
    ]
    with store.writing() as writing:
        insert_new(writing, wanted)
    store.close()
    report = deliver(folder)
    assert report.reminders.n_sent == 2
    assert "nobody known: 1 reminder waits, no address is known" in report.failed
    (message,) = inbox.messages()
    text = str(email.message_from_bytes(message, policy=policy.default).get_content())
    assert "- step 0 (due 2026-10-20)\r\n- step 1 (due 2026-10-20)" in text
    assert deliver(folder, days=1).reminders.n_sent == 0
    assert len(inbox.messages()) == 1


def test_a_pack_whose_bytes_changed_is_not_delivered(tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    shared.mkdir()
    folder = make_network(tmp_path / "n", folder=str(shared))
    deliver(folder)
    path = folder / "packs/2026-10/S1/issue-1/S1-2026-10-1.pdf"
    path.chmod(0o644)
    path.write_bytes(PDF + b"\n")
    assert any("PCK-030" in one for one in deliver(folder, days=1).failed)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('security = "none"', "security is 'none'"),
        ('sends = "carrier pigeon"', "sends is"),
        ('smtp_host = "m"', "without a sender"),
        ('to = {S9 = ["a@b"]}', "S9"),
        ('to = {S1 = ["nobody"]}', "nobody"),
    ],
)
def test_settings_that_do_not_fit_are_refused(line: str, says: str) -> None:
    with pytest.raises(NetworkFolderError, match=says):
        parse_network(NETWORK + "[delivery]\n" + line, where="network.toml")


def test_command_says_what_failed_by_its_exit_code(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_network(tmp_path / "n", to={})
    assert main(["deliver", "--network", str(folder)], {}) == 26
    assert "nobody to send it to" in capsys.readouterr().out
    assert main(["deliver", "--network", str(folder), "--month", "2026-09"], {}) == 0
