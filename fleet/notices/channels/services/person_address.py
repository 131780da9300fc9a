"""Where a person is reached by a service: `service:number or handle`, put into the operator's template. PURE.

What a person writes can name an addressee and nothing else: neither a host, nor a port, nor another option.
"""

import re
from collections.abc import Mapping
from urllib.parse import quote

TELEPHONE = re.compile(r"\+[1-9][0-9]{6,14}")  # E.164
HANDLE = re.compile(r"(?!\.+\Z)[A-Za-z0-9_.@+-]{1,64}")  # dots alone would walk through the template's path
SERVICE_NAME = re.compile(r"[a-z][a-z0-9_]{0,30}")
PLACE = "{address}"


def address_faults(address: str, templates: Mapping[str, str]) -> list[str]:
    """Return what is wrong with a person's address, in sentences."""
    name, colon, person = address.partition(":")
    if not colon or name not in templates:
        offered = ", ".join(sorted(templates)) or "none"
        return [f"An address begins with the name of a service and a colon; this site has: {offered}."]
    if person.startswith("+") and not TELEPHONE.fullmatch(person):
        return ["A telephone number is written with + and its country: 7 to 15 digits without spaces."]
    if not HANDLE.fullmatch(person):
        return ["A handle has 1 to 64 of: letters, digits, _ . @ + -"]
    return []


def fill_template(address: str, templates: Mapping[str, str]) -> str:
    """Return the service's address for one person; the address has no faults."""
    name, _, person = address.partition(":")
    return templates[name].replace(PLACE, quote(person, safe=""))


def template_faults(name: str, template: str) -> list[str]:
    """Return what is wrong with an operator's template, in sentences without the template, which holds secrets."""
    faults = []
    if not SERVICE_NAME.fullmatch(name):
        faults.append("the name of a service is made of small letters, digits and _")
    scheme, separator, rest = template.partition("://")
    if not separator or not re.fullmatch(r"[a-z][a-z0-9+.-]*", scheme):
        faults.append("a template begins with a scheme such as json://")
    if template.count(PLACE) != 1:
        faults.append(f"a template holds {PLACE} once")
    if PLACE in re.split(r"[/?]", rest, maxsplit=1)[0]:
        # The person would choose the host.
        faults.append(f"{PLACE} stands behind the host, in the path or as an option")
    return faults
