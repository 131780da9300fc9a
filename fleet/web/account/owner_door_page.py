"""The door of an owner: a link that works once leads to a page that opens a portfolio.

Whoever is signed in becomes its owner; anybody else is new here, or signs in first by the site's own way to sign in.
"""

from uuid import UUID

from django import forms
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from fleet import pipeline
from fleet.accounts import owner_links
from fleet.accounts.requests import cause_of, user_of
from fleet.errors import Refused
from fleet.pipeline.portfolios import is_opened

SESSION_KEY = "owner_token"
BACKEND = "fleet.accounts.passwords.SiteBackend"


class OpenPortfolioForm(forms.Form):
    """What a portfolio is called."""

    name = forms.CharField(label="Name of the portfolio", max_length=200)
    ref = forms.CharField(label="Reference", max_length=64, help_text="Short, such as NORTH. It stands in sheets.")


class NewOwnerForm(OpenPortfolioForm):
    """What a portfolio is called, and who its first owner is, who has no user name here yet."""

    person = forms.CharField(label="Your name", max_length=120)
    username = forms.CharField(label="User name", max_length=40)
    password = forms.CharField(
        label="Password",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="Password again",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean_again(self) -> str:
        """Return the password as typed the second time. Raises ValidationError where it is another."""
        again: str = self.cleaned_data["again"]
        if again != self.cleaned_data.get("password", again):
            raise forms.ValidationError("The two passwords are not the same.")
        return again


@never_cache
@require_safe
def enter_owner_door(request: HttpRequest, token: str) -> HttpResponse:
    """Put the token into the session, so that no later address or log keeps it, and go on to the form.

    A forged one makes no session: anybody could fill the database with them.
    """
    if owner_links.read_token(token) is None:
        return render(request, "account/open_portfolio.html", {}, status=404)
    request.session[SESSION_KEY] = token
    return redirect("open-portfolio")


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def open_portfolio(request: HttpRequest) -> HttpResponse:
    """Show the form, or open the portfolio, sign its owner in, and go on to the register."""
    portfolio = owner_links.read_token(request.session.get(SESSION_KEY, ""))
    if portfolio is None or is_opened(portfolio):
        return render(request, "account/open_portfolio.html", {}, status=404)
    form_class = OpenPortfolioForm if request.user.is_authenticated else NewOwnerForm
    form = form_class(request.POST or None)
    if request.method == "POST" and form.is_valid() and _is_opened_by(request, form, portfolio):
        return redirect("register-page")
    status = 422 if request.method == "POST" else 200
    return render(request, "account/open_portfolio.html", {"form": form}, status=status)


def _is_opened_by(request: HttpRequest, form: OpenPortfolioForm, portfolio: UUID) -> bool:
    """Open the portfolio and sign a new owner in; where that is refused, put the faults beside their fields."""
    is_new = not request.user.is_authenticated
    told, cause = form.cleaned_data, cause_of(request)
    owner = pipeline.NewOwner(told["username"], told["person"], told["password"]) if is_new else user_of(request)
    wish = pipeline.NewPortfolio(told["ref"], told["name"])
    try:
        person = pipeline.open_portfolio(portfolio=portfolio, wish=wish, owner=owner, at=timezone.now(), cause=cause)
    except Refused as refused:
        for fault in refused.faults:
            form.add_error(str(fault.at[0]) if fault.at else None, fault.message)
        return False
    if is_new:
        login(request, person, backend=BACKEND)
    request.session.pop(SESSION_KEY, None)
    return True
