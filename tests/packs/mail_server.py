"""A mail server in a process of its own, on loopback, with TLS: python -m tests.packs.mail_server.

It keeps every message in a file. Addresses that begin with "gone" are refused for good, those that
begin with "later" for now. The certificate is made by OpenSSL for the run.
"""

import asyncio
import re
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

PASSWORD = "invented-mail-password"


class Server:
    """Where it listens, and what it took."""

    def __init__(self, port: int, folder: Path) -> None:
        self.port = port
        self.folder = folder
        self.certificate = folder / "mail.pem"

    def messages(self) -> list[bytes]:
        return [path.read_bytes() for path in sorted(self.folder.glob("*.eml"))]

    def wishes(self) -> list[str]:
        """What was asked of the server for each address, as sent."""
        path = self.folder / "wishes.txt"
        return path.read_text().splitlines() if path.exists() else []


def make_certificate(folder: Path) -> None:
    how = "req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=127.0.0.1"
    what = ["-addext", "subjectAltName=IP:127.0.0.1", "-keyout", "mail.key", "-out", "mail.pem"]
    subprocess.run(["openssl", *how.split(), *what], cwd=folder, check=True, capture_output=True)


@contextmanager
def running_mail_server(folder: Path, *, mode: str = "starttls") -> Iterator[Server]:
    """mode: "starttls", "tls", or "plain" (a server without any TLS)."""
    if not (folder / "mail.pem").exists():
        make_certificate(folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.packs.mail_server", str(folder), str(port), mode],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        yield Server(port, folder)
    finally:
        process.terminate()
        process.wait(10)
        if process.stdout:
            process.stdout.close()


def main(folder: Path, port: int, mode: str) -> None:
    from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "mail.pem", folder / "mail.key")

    class Keeping:
        async def handle_EHLO(
            self, server: Any, session: Any, envelope: Any, hostname: str, responses: list[str]
        ) -> list[str]:
            session.host_name = hostname
            return [*responses[:-1], "250-DSN", responses[-1]]

        async def handle_RCPT(
            self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
        ) -> str:
            if address.startswith("gone"):
                return "550 5.1.1 no such mailbox here"
            if address.startswith("later"):
                return "451 4.7.1 try again later"
            envelope.rcpt_tos.append(address)
            return "250 OK"

        async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
            number = len(list(folder.glob("*.eml")))
            (folder / f"{number:03d}.eml").write_bytes(envelope.content)
            return "250 OK"

    class Reporting(SMTP):
        async def smtp_RCPT(self, arg: str) -> None:
            with (folder / "wishes.txt").open("a") as file:
                file.write(arg + "\n")
            await super().smtp_RCPT(re.sub(r" NOTIFY=\S+", "", arg))

    def check(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
        is_right = isinstance(data, LoginPassword) and data.password == PASSWORD.encode()
        return AuthResult(success=is_right)

    def make() -> SMTP:
        with_tls = {"tls_context": context, "require_starttls": True} if mode == "starttls" else {}
        return Reporting(Keeping(), authenticator=check, enable_SMTPUTF8=True, **with_tls)

    async def serve() -> None:
        own = context if mode == "tls" else None
        loop = asyncio.get_running_loop()
        await loop.create_server(make, "127.0.0.1", port, ssl=own)
        print("ready", flush=True)
        await asyncio.Event().wait()

    asyncio.run(serve())


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3])
