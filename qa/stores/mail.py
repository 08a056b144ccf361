"""Mail goes out here: SMTP over TLS, one connection for many messages."""

import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path

from qa.model.delivery import Delivery
from qa.model.errors import DeliveryError

TIMEOUT_S = 30.0
FINAL_FROM = 500
_NOTIFY = "NOTIFY=SUCCESS,FAILURE"


@dataclass(frozen=True)
class Answer:
    """What the server said to one message. is_final: refused for good, another try is no use."""

    is_sent: bool
    is_final: bool
    words: str


class MailServer:
    """An open connection; see open_mail."""

    def __init__(self, connection: smtplib.SMTP) -> None:
        self._connection = connection

    def send(self, message: EmailMessage, *, to: str) -> Answer:
        """Hand one message over for one address.

        The server is asked to report on it where it can (RFC 3461).
        """
        connection = self._connection
        wish = [_NOTIFY] if connection.has_extn("dsn") else []
        try:
            connection.send_message(message, to_addrs=[to], rcpt_options=wish)
        except smtplib.SMTPRecipientsRefused as problem:
            return _refused(*next(iter(problem.recipients.values())))
        except smtplib.SMTPResponseException as problem:
            return _refused(problem.smtp_code, problem.smtp_error)
        except (OSError, smtplib.SMTPException) as problem:
            return Answer(False, False, f"the connection broke ({type(problem).__name__})")
        return Answer(True, True, "taken by the mail server")


def _refused(code: int, words: bytes | str) -> Answer:
    text = words.decode("utf-8", errors="replace") if isinstance(words, bytes) else words
    plain = " ".join("".join(one if one.isprintable() else " " for one in text).split())
    return Answer(False, code >= FINAL_FROM, f"{code} {plain}"[:300])


@contextmanager
def open_mail(settings: Delivery, *, folder: Path, password: str) -> Iterator[MailServer]:
    """A connection to the mail server, over TLS, logged in where a user is set.

    Args: folder: the network folder; ca_file is taken from there.
    Raises: DeliveryError DLV-001 (not reached), DLV-002 (no TLS), DLV-003 (log-in refused).
    """
    where = f"{settings.smtp_host}:{settings.smtp_port}"
    try:
        context = ssl.create_default_context()
        if settings.ca_file:
            context.load_verify_locations(folder / settings.ca_file)
        connection = _connect(settings, context)
    except (ssl.SSLError, smtplib.SMTPNotSupportedError) as problem:
        why = getattr(problem, "verify_message", "") or getattr(problem, "reason", "") or problem
        raise DeliveryError(
            f"the mail server offers no TLS that can be trusted ({why})",
            where=where,
            expected="TLS with a certificate for this name",
            todo="Check security and ca_file under [delivery]. Nothing was sent by mail",
            code="DLV-002",
        ) from None
    except (OSError, smtplib.SMTPException) as problem:
        why = getattr(problem, "strerror", None) or type(problem).__name__
        raise DeliveryError(
            f"the mail server cannot be reached ({why})",
            where=where,
            todo="Check [delivery] and the network, then run 'elastoqa deliver'",
            code="DLV-001",
        ) from None
    try:
        if settings.user:
            _log_in(connection, settings, password, where)
        yield MailServer(connection)
    finally:
        connection.close()


def _connect(settings: Delivery, context: ssl.SSLContext) -> smtplib.SMTP:
    host, port = settings.smtp_host, settings.smtp_port
    if settings.security == "tls":
        return smtplib.SMTP_SSL(host, port, timeout=TIMEOUT_S, context=context)
    connection = smtplib.SMTP(host, port, timeout=TIMEOUT_S)
    try:
        connection.starttls(context=context)
        connection.ehlo()
    except BaseException:
        connection.close()
        raise
    return connection


def _log_in(connection: smtplib.SMTP, settings: Delivery, password: str, where: str) -> None:
    try:
        connection.login(settings.user, password)
    except smtplib.SMTPException as problem:
        raise DeliveryError(
            f"the mail server refuses the log-in of '{settings.user}' ({type(problem).__name__})",
            where=where,
            todo="Check user and password_file under [delivery]. Nothing was sent by mail",
            code="DLV-003",
        ) from None
