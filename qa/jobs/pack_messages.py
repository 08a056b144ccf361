"""Messages as they go to the mail server."""

import hashlib
from datetime import date, datetime
from email.message import EmailMessage
from email.utils import format_datetime

from qa.model.definitions import Network
from qa.stores.pack_archive import Issue, read_manifest
from qa.views.pack_mail import Mail, pack_mail


def link_to_pack(network: Network, site_id: str, month: date, number: int) -> str:
    """Where the pack opens on the screens; the address that [log_in] public_url says."""
    root = network.log_in.public_url or f"http://127.0.0.1:{network.settings.port}"
    return f"{root.rstrip('/')}/packs/issued?site={site_id}&month={month:%Y-%m}&number={number}"


def link_to_cases(network: Network) -> str:
    root = network.log_in.public_url or f"http://127.0.0.1:{network.settings.port}"
    return f"{root.rstrip('/')}/follow-up"


def mail_of_pack(
    network: Network, issue: Issue, *, site_id: str, month: date, link: str, is_attached: bool
) -> Mail:
    """Raises: PackError when the manifest cannot be read."""
    site = network.site(site_id)
    replaced = read_manifest(issue.manifest_path).get("replaces") or {}
    return pack_mail(
        network,
        site_name=site.name if site else site_id,
        month=month,
        number=issue.number,
        link=link,
        is_attached=is_attached,
        reason=str(replaced.get("reason", "")),
        changed=[str(one) for one in replaced.get("changed", [])],
    )


def build_message(
    mail: Mail,
    *,
    sender: str,
    to: str,
    at: datetime,
    about: str,
    attachment: tuple[str, bytes] | None = None,
) -> EmailMessage:
    """One message for one address.

    Args:
        about: what the message is about; with the address it makes the Message-ID, so that a
            message that is sent again can be told from a new one, and a report be put to it.
        attachment: name and bytes of a PDF.
    """
    message = EmailMessage()
    message["From"] = sender
    message["To"] = to
    message["Subject"] = mail.subject
    message["Date"] = format_datetime(at)
    message["Message-ID"] = message_id(about, to, sender=sender)
    message["Auto-Submitted"] = "auto-generated"
    message["Disposition-Notification-To"] = sender
    message.set_content(mail.text)
    if attachment:
        name, content = attachment
        message.add_attachment(content, maintype="application", subtype="pdf", filename=name)
    return message


def message_id(about: str, to: str, *, sender: str) -> str:
    """Example: '<S3-2026-10-1.5f1d0c7a9b2e4c66@clinic.example>'"""
    digest = hashlib.sha256(f"{about}\n{to.lower()}".encode()).hexdigest()[:16]
    domain = sender.rpartition("@")[2].strip("<> ")
    return f"<{about}.{digest}@{domain}>"
