"""A real mailbox (Dovecot) with login and TLS, and what puts mail into it."""

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from itertools import count
from pathlib import Path
from threading import Event
from time import monotonic
from types import TracebackType

from relayd.rig import Mailbox, Secret
from tests.servers.broker import Certificates, free_port

DEADLINE = 20.0

CONFIGURATION = """
base_dir = {home}/run
state_dir = {home}/state
log_path = {home}/log
protocols = imap
listen = 127.0.0.1
ssl = required
ssl_cert = <{certificate}
ssl_key = <{key}
disable_plaintext_auth = yes
auth_mechanisms = plain
mail_location = maildir:{mail}
first_valid_uid = 1
first_valid_gid = 1
default_login_user = {login}
default_internal_user = {internal}
default_internal_group = {group}
imap_capability = {capability}
passdb {{
  driver = static
  args = user={user} password={password}
}}
userdb {{
  driver = static
  args = uid={uid} gid={gid} home={home}/home
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = {port}
  }}
  inet_listener imaps {{
    port = {tls_port}
  }}
}}
service anvil {{
  chroot =
}}
"""
WITHOUT_IDLE = "IMAP4rev1 SASL-IR LOGIN-REFERRALS ID ENABLE LITERAL+"


def dovecot() -> str | None:
    """Where the IMAP server is, or None where it is not installed (or cannot be run by us)."""
    found = shutil.which("dovecot", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")
    return found if os.geteuid() == 0 else None


class ImapServer:
    """Dovecot on two ports: STARTTLS, and TLS from the first byte. One mailbox, of `mail` (a maildir).

    Its certificate is for 'localhost', signed by `ca`.
    """

    user, password = "answers", 'Re"ply\\4'

    def __init__(self, mail: Path | None = None, idle: bool = True) -> None:
        self._given, self._idle = mail, idle
        self._numbers = count(1)

    def __enter__(self) -> "ImapServer":
        self._home = Path(tempfile.mkdtemp(prefix="imap-"))
        self._home.chmod(0o755)
        certificates = Certificates(self._home)
        self.ca = certificates.ca
        self.mail = self._given or self._home / "mail"
        self._owner = pwd.getpwnam("Debian-exim") if self._given else pwd.getpwnam("dovecot")
        for each in (
            self._home / "home",
            self.mail,
            *(self.mail / n for n in ("cur", "new", "tmp")),
        ):
            each.mkdir(exist_ok=True)
            os.chown(each, self._owner.pw_uid, self._owner.pw_gid)
        self.port, self.tls_port = free_port(), free_port()
        self._configure(certificates)
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()
        shutil.rmtree(self._home)

    def start(self) -> None:
        """Start, and wait until it answers."""
        self._process = subprocess.Popen([str(dovecot()), "-F", "-c", str(self._configuration)])
        end, never = monotonic() + DEADLINE, Event()
        while True:
            try:
                with socket.create_connection(("127.0.0.1", self.port), DEADLINE) as line:
                    assert line.recv(100).startswith(b"* OK")
                    return
            except OSError:
                assert self._process.poll() is None, self.log()
                assert monotonic() < end, self.log()
                never.wait(0.02)

    def stop(self) -> None:
        """End it with all its connections."""
        self._process.terminate()
        self._process.wait(DEADLINE)

    def box(self, **changes: object) -> Mailbox:
        """The mailbox as a plan would describe it."""
        given: dict[str, object] = {
            **{"host": "localhost", "port": self.tls_port, "user": self.user},
            **{"password": Secret(self.password), "ca": self.ca},
        }
        return Mailbox(**{**given, **changes})  # type: ignore[arg-type]

    def put(self, raw: bytes) -> None:
        """Deliver a mail: written whole, then moved to where it is seen."""
        name = f"{next(self._numbers)}.test"
        draft = self.mail / "tmp" / name
        draft.write_bytes(raw)
        os.chown(draft, self._owner.pw_uid, self._owner.pw_gid)
        draft.rename(self.mail / "new" / name)

    def log(self) -> str:
        """What it wrote of its work."""
        path = self._home / "log"
        return path.read_text() if path.exists() else ""

    def _configure(self, certificates: Certificates) -> None:
        self._configuration = self._home / "dovecot.conf"
        password = self.password
        self._configuration.write_text(
            CONFIGURATION.format(
                home=self._home,
                mail=self.mail,
                certificate=certificates.certificate,
                key=certificates.key,
                user=self.user,
                password=password,
                login="dovenull",
                internal="dovecot",
                group="dovecot",
                uid=self._owner.pw_uid,
                gid=self._owner.pw_gid,
                port=self.port,
                tls_port=self.tls_port,
                capability="" if self._idle else WITHOUT_IDLE,
            )
        )
