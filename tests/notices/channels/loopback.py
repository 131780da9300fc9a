"""Receivers on this machine for the tests of the channels: sockets, certificates, a message to send."""

import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from uuid import UUID

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from fleet.notices.channels.contract import OutgoingMessage

AT = datetime(2026, 1, 15, 12, 30, tzinfo=UTC)
LOOPBACK = ip_address("127.0.0.1")
MESSAGE = OutgoingMessage(
    id=UUID("0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11"),
    created_at=datetime(2026, 1, 15, 12, 0, tzinfo=UTC),
    kind="alert.raised",
    level="hold",
    subject="Hold: 12 Alder Terrace, Boiler 1",
    text="The low-water cutoff failed its flush.",
    data={"boiler": "12 Alder Terrace, Boiler 1", "standing": "hold"},
)
Converse = Callable[[socket.socket], None]


def message_with(**changes: object) -> OutgoingMessage:
    """Return the message with some of it changed."""
    return replace(MESSAGE, **changes)  # type: ignore[arg-type]


@dataclass
class LoopbackServer:
    """A listening socket that holds one conversation after another, each in a thread of its own."""

    converse: Converse
    context: ssl.SSLContext | None = None
    port: int = 0
    connections: int = 0
    stopped: threading.Event = field(default_factory=threading.Event)

    @contextmanager
    def running(self) -> Iterator["LoopbackServer"]:
        """Listen until the end."""
        with socket.create_server(("127.0.0.1", 0)) as listener:
            self.port = listener.getsockname()[1]
            threading.Thread(target=self._accept_all, args=(listener,), daemon=True).start()
            try:
                yield self
            finally:
                self.stopped.set()

    def _accept_all(self, listener: socket.socket) -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            self.connections += 1
            threading.Thread(target=self._hold_conversation, args=(connection,), daemon=True).start()

    def _hold_conversation(self, connection: socket.socket) -> None:
        with suppress(OSError):
            plain = connection
            connection = self.context.wrap_socket(plain, server_side=True) if self.context else plain
            with connection:
                self.converse(connection)


@dataclass(frozen=True)
class LoopbackCertificate:
    """A certificate of its own authority, for a server and for whoever trusts it."""

    file: Path
    key_file: Path

    def server_context(self) -> ssl.SSLContext:
        """What a server shows."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.file, self.key_file)
        return context

    def client_context(self) -> ssl.SSLContext:
        """Trusts this certificate and no other."""
        return ssl.create_default_context(cafile=str(self.file))


def make_certificate(folder: Path, name: str) -> LoopbackCertificate:
    """Make a certificate for one name, good for ten years from the day before AT."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(AT - timedelta(days=1))
        .not_valid_after(AT + timedelta(days=3650))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    made = LoopbackCertificate(folder / f"{name}.pem", folder / f"{name}.key")
    made.file.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    made.key_file.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    return made
