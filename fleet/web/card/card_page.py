"""The pages behind a card's address: its buttons, its forms, and what became of what was sent."""

import hashlib
import json
from collections.abc import Mapping
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet import pipeline
from fleet.accounts.requests import request_id_of
from fleet.assessments.models import Answer
from fleet.cards import pins
from fleet.cards.caretaker_words import acts_for_findings, caretaker_rules
from fleet.cards.form_tokens import FormToken, read_token, write_token
from fleet.cards.models import CardPost
from fleet.cards.questions import FORMS, PROCEDURES, RESET, TROUBLE, read_places
from fleet.cards.submissions import CardSubmission
from fleet.errors import Refused
from fleet.files.pictures import NotAPicture, remake_picture
from fleet.visits.incoming import IncomingPhotograph
from fleet.web.card.card_door import OpenCard, card_page, unknown_card
from fleet.web.card.card_forms import SINCE, CardForm, build_form, read_submission

MAX_PICTURE_BYTES = 2 * 1024 * 1024  # as large as a form may be
FIRST_BYTES = {b"\xff\xd8\xff": "image/jpeg", b"\x89PNG": "image/png", b"RIFF": "image/webp"}


def form_names() -> dict[str, str]:
    """Return what each form is called on its button, danger first."""
    return {
        TROUBLE: _("SOMETHING IS WRONG"),
        "flush": _("FLUSH"),
        "level": _("WATER LEVEL"),
        "pressure": _("PRESSURE"),
        "meter": _("WATER METER"),
        RESET: _("A RESET WAS PRESSED"),
    }


def since_names() -> dict[str, str]:
    """Return the words for how long something is wrong."""
    names = {"now": _("JUST NOW"), "today": _("TODAY"), "yesterday": _("YESTERDAY"), "longer": _("LONGER")}
    return {code: names[code] for code in SINCE}


@card_page
def show_card(card: OpenCard) -> HttpResponse:
    """Show what can be logged, the danger first, and what a caretaker does and does not do."""
    if card.request.method == "POST":
        return unknown_card(card.request)
    places = read_places(card.card.boiler, card.at)
    buttons = [
        {"code": code, "name": name, "place": place}
        for code, name in form_names().items()
        for place in (places.by_form[code] if code in PROCEDURES else [None])
        if code != RESET or places.by_form[RESET]
    ]
    several = {code for code in PROCEDURES if len(places.by_form[code]) > 1}
    rules = {kind: caretaker_rules(kind, card.language) for kind in ("do", "do_not")}
    return card.render("card/card.html", {"buttons": buttons, "several": several, **rules})


@card_page
def show_card_form(card: OpenCard, code: str) -> HttpResponse:
    """Show one form, or take what was sent in it."""
    if code not in FORMS:
        return unknown_card(card.request)
    places, is_sent = read_places(card.card.boiler, card.at), card.request.method == "POST"
    sent = {"sent": "yes", **card.request.POST.dict()} if is_sent else {}
    place_id = str(sent.get("place", "") if is_sent else card.request.GET.get("place", ""))
    form = build_form(code, places, place_id, sent=sent, language=card.language)
    if form is None:
        return unknown_card(card.request)
    return _take_form(card, form) if is_sent else _show_form(card, form)


def _show_form(card: OpenCard, form: CardForm, notice: str = "", status: int = 200) -> HttpResponse:
    """Return a form with a token of its own; a notice above it says why what was sent was not saved."""
    token = write_token(card.secret, FormToken(uuid4(), card.at))
    takes_pin = form.code in PROCEDURES
    context = {
        "form": form,
        "name": form_names()[form.code],
        "caution": _(form.caution) if form.caution else "",
        "token": token,
        "notice": notice,
        "operators": pins.operators_with_pin(card.card.boiler, card.at) if takes_pin else [],
        "since": since_names(),
        "is_trouble": form.code == TROUBLE,
    }
    return card.render("card/form.html", context, status)


def _take_form(card: OpenCard, form: CardForm) -> HttpResponse:
    token = read_token(card.secret, form.sent.get("token", ""), card.at)
    if token is not None and CardPost.objects.filter(id=token.submission, card=card.card).exists():
        return _go_to_logged(card, token.submission)
    if token is None or not token.is_fresh_at(card.at):
        return _show_form(card, form, _("This page was open for too long. Look again, then save it once more."), 422)
    if not form.is_whole:
        return _show_form(card, form, _("Something is missing. Nothing was saved yet."), 422)
    content, is_large = _sent_picture(card.request)
    picture = None if is_large else _declare_picture(content)
    operators = pins.operators_with_pin(card.card.boiler, card.at) if form.code in PROCEDURES else []
    submission = read_submission(form, token, operators, picture)
    try:
        _log_submission(card, submission, content)
    except Refused as refused:
        return _show_refusal(card, form, refused)
    except OperationalError:  # a lock was held too long: nothing was saved
        return _show_form(card, form, _("The site is busy. Nothing was saved: save it once more."), 503)
    lost = ("large" if is_large else "lost") if content and picture is None else ""
    return _go_to_logged(card, submission.id, picture_outcome=lost)


def _log_submission(card: OpenCard, submission: CardSubmission, content: bytes) -> None:
    request_id = request_id_of(card.request)
    pipeline.log_from_card(card=card.card.id, submission=submission, at=card.at, request_id=request_id)
    if submission.picture is not None:
        pipeline.keep_card_picture(card=card.card.id, submission=submission, content=content, at=card.at)


def _show_refusal(card: OpenCard, form: CardForm, refused: Refused) -> HttpResponse:
    if refused.status == 404:
        return unknown_card(card.request)
    if refused.status == 429:
        notice = _("Too much was logged by this card. NOTHING WAS SAVED: call and tell it.")
    else:
        notice = f"{_('It was refused. NOTHING WAS SAVED: call and tell it.')} {refused.faults[0].message}"
    return _show_form(card, form, notice, refused.status)


def _sent_picture(request: HttpRequest) -> tuple[bytes, bool]:
    """Return the picture that was sent, b"" for none, and whether it is larger than one may be."""
    picture = request.FILES.get("picture")
    content = bytes(picture.read(MAX_PICTURE_BYTES + 1)) if picture else b""
    return content, len(content) > MAX_PICTURE_BYTES


def _declare_picture(content: bytes) -> IncomingPhotograph | None:
    """Return what a visit says of a picture; None for what is none: what it came with is saved all the same."""
    kind = next((kind for first, kind in FIRST_BYTES.items() if content.startswith(first)), "")
    try:
        remake_picture(content, kind or "image/jpeg")
    except NotAPicture:
        return None
    return IncomingPhotograph(hashlib.sha256(content).hexdigest(), len(content), kind, entry=0)


def _go_to_logged(card: OpenCard, submission: UUID, *, picture_outcome: str = "") -> HttpResponse:
    query = {"lang": card.language, **({"picture": picture_outcome} if picture_outcome else {})}
    return redirect(f"{reverse('card-logged', args=[card.secret, submission])}?{urlencode(query)}")


@card_page
def show_logged(card: OpenCard, submission: UUID) -> HttpResponse:
    """Show what became of what was sent: what to do at once first, then that it is written down, and what it counts."""
    post = CardPost.objects.filter(id=submission, card=card.card).select_related("visit").first()
    if post is None or card.request.method == "POST":
        return unknown_card(card.request)
    answer = json.loads(Answer.objects.get(visit=post.visit_id).body)
    holds = [finding["rule"] for finding in answer["findings"] if finding["level"] == "hold"]
    acts = [act.in_language(card.language) for act in acts_for_findings(holds)]
    context = {
        "at": post.at,
        "acts": acts,
        "is_held": not acts and answer["standing"]["after"] == "hold",
        "worth": _worth_sentence(post, answer["verdicts"]),
        "picture_outcome": card.request.GET.get("picture"),
        "photographs": post.visit.photographs.count(),
    }
    return card.render("card/logged.html", context)


def _worth_sentence(post: CardPost, verdicts: list[Mapping[str, object]]) -> str:
    """Return what a test that was logged counts as; "" where there is nothing to say."""
    outcomes = {verdict["outcome"] for verdict in verdicts}
    if "fail" in outcomes or not outcomes:
        return ""
    if "pass" not in outcomes:
        return _("With this answer it was no test: it proves nothing and accuses nothing.")
    if post.pin == pins.WRONG:
        return _("The PIN was not right. It is saved and proves nothing: log it again with the right PIN.")
    if post.pin == pins.CLOSED:
        return _("After wrong tries this PIN is closed for a while. It is saved and proves nothing.")
    if any(verdict["proves"] for verdict in verdicts):
        return _("The PIN was right: it counts as an operator's.")
    if not post.visit.entries.filter(code=PROCEDURES["flush"]).exists():
        return ""
    if post.pin == pins.NO_PIN:
        return _("It is saved without a PIN and proves nothing.")
    return _("The PIN was right. It is saved, and its holder is not on record as an operator: it proves nothing.")
