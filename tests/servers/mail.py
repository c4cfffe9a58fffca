"""Mail servers for tests: a real one with login and TLS (Exim), and one that answers as it is told."""

import email
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from asyncio import Server
from collections.abc import Iterator
from contextlib import contextmanager
from email.message import Message
from pathlib import Path
from threading import Thread
from types import TracebackType
from urllib.parse import quote

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.servers.broker import Certificates

DEADLINE = 10.0

CONFIGURATION = """
primary_hostname = localhost
spool_directory = {home}/spool
log_file_path = {home}/log/%slog
exim_user = {user}
exim_group = {group}
never_users =
keep_environment =
host_lookup =
rfc1413_query_timeout = 0s
smtp_receive_timeout = 20s
tls_advertise_hosts = *
tls_certificate = {certificate}
tls_privatekey = {key}
auth_advertise_hosts = ${{if eq{{$tls_in_cipher}}{{}}{{}}{{*}}}}
acl_smtp_rcpt = recipient
acl_smtp_data = accept

begin acl
recipient:
  deny !authenticated = *
       message = log in first
  defer local_parts = busy
        message = try again later
  deny local_parts = gone
       message = no such person here
  accept domains = example.org
  deny message = relaying is not allowed

begin routers
here:
  driver = accept
  transport = maildir

begin transports
maildir:
  driver = appendfile
  directory = {home}/mail
  maildir_format
  user = {user}
  group = {group}

begin authenticators
plain:
  driver = plaintext
  public_name = PLAIN
  server_prompts = :
  server_condition = ${{if and{{{{eq{{$auth2}}{{{login}}}}}{{eq{{$auth3}}{{{password}}}}}}}}}
  server_set_id = $auth2
login:
  driver = plaintext
  public_name = LOGIN
  server_prompts = Username:: : Password::
  server_condition = ${{if and{{{{eq{{$auth1}}{{{login}}}}}{{eq{{$auth2}}{{{password}}}}}}}}}
  server_set_id = $auth1
"""


def exim() -> str | None:
    """Where the mail server is, or None where it is not installed."""
    return shutil.which("exim4", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")


class MailServer:
    """Exim behind a port that the kernel gave, one process a connection. STARTTLS, then login.

    It takes mail for anybody at example.org, except for `busy` (451) and `gone` (550).
    Its certificate is for 'localhost', signed by `ca`.
    """

    user, password = "unit7", "Fl0at/Sw#tch"

    def __enter__(self) -> "MailServer":
        self._home = Path(tempfile.mkdtemp(prefix="mail-"))
        certificates = Certificates(self._home)
        self.ca = certificates.ca
        self._configure(certificates)
        self._sessions: list[subprocess.Popen[bytes]] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._thread = Thread(target=self._accept, daemon=True)
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        # shutdown() wakes the thread that waits in accept(); close() alone would not.
        self._listener.shutdown(socket.SHUT_RDWR)
        self._thread.join(DEADLINE)
        self._listener.close()
        for session in self._sessions:
            session.kill()
            session.wait()
        shutil.rmtree(self._home)

    def address(
        self, to: str = "anna", password: str | None = None, host: str = "localhost"
    ) -> str:
        """An address at this server, with certificates checked."""
        login = f"{self.user}:{quote(password or self.password, safe='')}"
        people = f"from=relayd@example.org&to={to}@example.org"
        return f"mailtos://{login}@{host}:{self.port}?mode=starttls&verify=yes&{people}"

    @property
    def folder(self) -> Path:
        """Where what is delivered lies: a maildir."""
        return self._home / "mail"

    def raw(self) -> list[bytes]:
        """What was delivered, byte for byte, once all connections so far have ended."""
        for session in list(self._sessions):
            session.wait(DEADLINE)
        return [path.read_bytes() for path in sorted((self._home / "mail" / "new").glob("*"))]

    def messages(self) -> list[Message]:
        """What was delivered."""
        return [email.message_from_bytes(each) for each in self.raw()]

    def log(self) -> str:
        """What the server wrote of its work."""
        return "".join(path.read_text() for path in sorted((self._home / "log").glob("*")))

    def _configure(self, certificates: Certificates) -> None:
        # Started by root it becomes its own user, and refuses to write mail as root.
        owner = pwd.getpwnam("Debian-exim") if os.geteuid() == 0 else pwd.getpwuid(os.geteuid())
        self._home.chmod(0o755)
        for name in ("spool", "log", "mail"):
            (self._home / name).mkdir()
            os.chown(self._home / name, owner.pw_uid, owner.pw_gid)
        os.chown(certificates.key, owner.pw_uid, owner.pw_gid)
        self._configuration = self._home / "exim.conf"
        self._configuration.write_text(
            CONFIGURATION.format(
                home=self._home,
                user=owner.pw_uid,
                group=owner.pw_gid,
                certificate=certificates.certificate,
                key=certificates.key,
                login=self.user,
                password=self.password,
            )
        )
        self._configuration.chmod(0o644)

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:  # closed
                return
            with connection:
                words = [str(exim()), "-C", str(self._configuration), "-bs", "-odf"]
                line = connection.fileno()
                self._sessions.append(subprocess.Popen(words, stdin=line, stdout=line))


class ToldMail:
    """Takes mail without login, and keeps it; `to` maps a recipient to the reply it gets."""

    def __init__(self, to: dict[str, str] | None = None) -> None:
        self.taken: list[Envelope] = []
        self._to = to or {}

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        reply = self._to.get(address, "250 OK")
        if reply.startswith("250"):
            envelope.rcpt_tos.append(address)
        return reply

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.taken.append(envelope)
        return "250 taken"


@contextmanager
def plain_mail(handler: ToldMail) -> Iterator[int]:
    """The port of a plain SMTP server that answers by `handler`."""
    controller = _Controller(handler, hostname="127.0.0.1", port=0)
    controller.start()
    try:
        yield controller.given_port()
    finally:
        controller.stop()


class _Controller(Controller):
    def given_port(self) -> int:
        """The port that the kernel gave instead of 0."""
        assert isinstance(self.server, Server)
        port: int = self.server.sockets[0].getsockname()[1]
        return port

    def _trigger_server(self) -> None:
        """Connect once, as the library wants it, but to the port that was given."""
        with socket.create_connection((self.hostname, self.given_port()), DEADLINE) as probe:
            probe.recv(1024)
