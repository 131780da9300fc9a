"""The framework's SMTP backend with one deadline for all of an attempt, and a note of how far the attempt came."""

import io
import smtplib
import socket
import ssl
from contextlib import suppress
from functools import cached_property

from django.core.mail.backends.smtp import EmailBackend

from fleet.notices.channels.connecting import connect_before, resolve_before
from fleet.notices.channels.deadline import Deadline, DeadlineReader
from fleet.notices.channels.settings import MailSettings
from fleet.notices.channels.tls_trust import trusting_context

END_OF_MESSAGE = b"\r\n.\r\n"
MAX_REPLY_BYTES = 64 * 1024  # all replies of one exchange together


class DeadlineSmtp(smtplib.SMTP):
    """An exchange with a mail server that ends at a deadline.

    `is_message_handed_over`: the message has left to its last line, so that without a reply nobody knows what became
    of it.
    """

    def __init__(self, host: str, port: int, *, own_name: str, deadline: Deadline) -> None:
        self.deadline = deadline
        self.is_message_handed_over = False
        super().__init__(host, port, local_hostname=own_name, timeout=deadline.seconds_left())

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        return connect_before(resolve_before(host, self.deadline), port, self.deadline)

    def getreply(self) -> tuple[int, bytes]:
        """Read one reply. Raises SMTPServerDisconnected, also at the deadline."""
        if self.file is None and self.sock is not None:
            self.file = io.BufferedReader(DeadlineReader(self.sock, self.deadline, MAX_REPLY_BYTES))
        return super().getreply()

    def send(self, s: bytes | str) -> None:  # type: ignore[override]  # the stubs know buffers of any kind
        """Send all of it. Raises SMTPServerDisconnected, also at the deadline."""
        try:
            if self.sock is not None:
                self.sock.settimeout(self.deadline.seconds_left())
        except TimeoutError:
            self.close()
            raise smtplib.SMTPServerDisconnected("the time of this attempt is over") from None
        super().send(s)
        if isinstance(s, bytes) and s.endswith(END_OF_MESSAGE):
            self.is_message_handed_over = True


class DeadlineSmtpOverTls(smtplib.SMTP_SSL, DeadlineSmtp):
    """The same, encrypted from the first byte."""

    def __init__(self, host: str, port: int, *, own_name: str, deadline: Deadline, context: ssl.SSLContext) -> None:
        self.deadline = deadline
        self.is_message_handed_over = False
        timeout = deadline.seconds_left()
        smtplib.SMTP_SSL.__init__(self, host, port, local_hostname=own_name, timeout=timeout, context=context)


class DeadlineBackend(EmailBackend):
    """Sends by the server of the settings. One backend is for one attempt; `exchange` is that attempt's."""

    exchange: DeadlineSmtp | None = None

    def __init__(self, settings: MailSettings, deadline: Deadline) -> None:
        super().__init__(host=settings.host, port=settings.port, username=settings.user, password=settings.password)
        self._settings, self._deadline = settings, deadline
        self.use_tls, self.use_ssl = settings.scheme == "smtp+starttls", settings.scheme == "smtps"

    @cached_property
    def ssl_context(self) -> ssl.SSLContext:
        """Certificates and names are always checked."""
        return trusting_context(self._settings.ca_file)

    def open(self) -> bool:
        """Connect and sign in. Raises OSError, of which the errors of SMTP are a kind.

        The framework's own asks for the machine's full name, which can take longer than the whole attempt may.
        """
        if self.connection:
            return False
        self.connection = self.exchange = self._begin_exchange()
        if self.use_tls:
            self.exchange.starttls(context=self.ssl_context)
        if self.username:
            self.exchange.login(self.username, self.password)
        return True

    def _begin_exchange(self) -> DeadlineSmtp:
        host, port, own_name = self._settings.host, self._settings.port, self._settings.domain
        if not self.use_ssl:
            return DeadlineSmtp(host, port, own_name=own_name, deadline=self._deadline)
        return DeadlineSmtpOverTls(host, port, own_name=own_name, deadline=self._deadline, context=self.ssl_context)

    def close(self) -> None:
        """Say goodbye; a server that does not answer that changes nothing."""
        if self.connection:
            with suppress(OSError):
                self.connection.quit()
            self.connection.close()
            self.connection = None
