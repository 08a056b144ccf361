"""How packs leave the machine: settings of delivery and of signing, and the words for it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

SECURITY = ("starttls", "tls")
SENDS = ("link", "attachment")


@dataclass(frozen=True)
class Delivery:
    """How packs and reminders reach people; each is one key under [delivery] of network.toml.

    Args:
        smtp_host: the mail server; "" for none. Mail goes out over TLS only.
        security: "starttls" (port 587) or "tls" from the first byte (port 465).
        user, password_file: log-in at the server; "" for none. ELASTOQA_SMTP_PASSWORD comes first.
        ca_file: certificates to trust besides those of the machine.
        sender: address that stands in From and to which returned mail goes.
        sends: "link" (to the screens) or "attachment" (the PDF itself).
        folder: a shared folder into which every pack is put; "" for none.
        returned: folder with mail that came back to the sender, one message a file (Maildir is
            fine); "" for none.
        to: site → addresses, besides the accounts of its site leads.
    """

    smtp_host: str = ""
    smtp_port: int = 587
    security: str = "starttls"
    user: str = ""
    password_file: str = ""
    ca_file: str = ""
    sender: str = ""
    sends: str = "link"
    folder: str = ""
    returned: str = ""
    to: dict[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def has_mail(self) -> bool:
        return bool(self.smtp_host)


@dataclass(frozen=True)
class Signing:
    """Signing of packs; each is one key under [signing] of network.toml.

    Args:
        key_file: PKCS #12 file with key and certificate; "" for none: packs are not signed.
        password_file: file with its password. ELASTOQA_SIGNING_PASSWORD comes first.
        trust_file: PEM file with the certificates that vouch for the signer; "" for none: then
            'verify' says whose certificate it is, and nothing of trust.
    """

    key_file: str = ""
    password_file: str = ""
    trust_file: str = ""


def delivery_fault(chosen: Delivery, site_ids: Sequence[str]) -> tuple[str, str] | None:
    """What is wrong with the settings and what would be right; None: nothing."""
    unknown = sorted(set(chosen.to) - set(site_ids))
    addresses = [one for some in chosen.to.values() for one in some]
    wrong = [one for one in addresses if "@" not in one or not one.isprintable()]
    checks = (
        (chosen.security in SECURITY, f"security is '{chosen.security}'", "starttls or tls"),
        (chosen.sends in SENDS, f"sends is '{chosen.sends}'", "link or attachment"),
        (1 <= chosen.smtp_port <= 65535, f"smtp_port is {chosen.smtp_port}", "1 to 65535"),
        (
            not chosen.has_mail or "@" in chosen.sender,
            "smtp_host is set without a sender",
            "an address in sender",
        ),
        (not unknown, f"`to` names the sites {unknown}, which are not listed", "ids of [[sites]]"),
        (not wrong, f"`to` holds {wrong}", "addresses such as lead@clinic.example"),
    )
    return next(((what, expected) for is_fine, what, expected in checks if not is_fine), None)


class Way(StrEnum):
    """By what a pack went to somebody."""

    MAIL = "mail"
    FOLDER = "folder"


class Sent(StrEnum):
    """Where one delivery stands."""

    WAITING = "waiting"
    SENT = "sent"
    RECEIVED = "received"
    OPENED = "opened"
    RETURNED = "returned"
