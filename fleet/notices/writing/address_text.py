"""What is sent to a new address, so that nobody gives another's."""

from fleet.notices.models import Destination
from fleet.notices.writing.call_text import NoticeText, render_notice
from fleet.notices.writing.links import confirm_address_link
from fleet.rules.wording import ADVICE_CAUTION


def write_confirmation(row: Destination) -> NoticeText:
    """Return the message that asks whether this address is the person's own."""
    subject = "Is this your address?"
    context = {
        "subject": subject,
        "name": row.user.display_name,
        "confirm": confirm_address_link(row.id),
        "caution": ADVICE_CAUTION,
    }
    return render_notice("confirm", subject, context)
