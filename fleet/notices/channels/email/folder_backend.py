"""Keeps each mail as a file and sends it to nobody: for the demonstration and for trying things out."""

from collections.abc import Sequence
from itertools import count
from pathlib import Path

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend


class MailFolderBackend(BaseEmailBackend):
    """Writes `<id of the notice>.eml`; a repeat gets a number behind it, so that it can be seen."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._folder = folder

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Keep the mails. Raises OSError where the folder cannot be written."""
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)  # the mails hold links that answer alarms
        for mail in email_messages:
            self._keep_mail(mail)
        return len(email_messages)

    def _keep_mail(self, mail: EmailMessage) -> None:
        name = mail.extra_headers["Message-ID"].strip("<>").partition("@")[0]
        for number in count(1):
            path = self._folder / (f"{name}.eml" if number == 1 else f"{name}-{number}.eml")
            try:
                with path.open("xb") as file:
                    file.write(mail.message().as_bytes())
            except FileExistsError:
                continue
            return
