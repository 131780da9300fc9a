"""What the web server answers on a boiler-room card to what it does not take in: both languages of the card, as text.

It is refused before the site has read anything of it, so nothing says in which language the form was shown.
"""

CARD_PATH_PREFIX = b"/card/"
_LARGE = (
    "This is too large to be sent. NOTHING WAS SAVED: save it once more without the picture, or call and tell it.",
    "Es demasiado grande para enviarlo. NO SE GUARDÓ NADA: guárdelo otra vez sin la foto, o llame y dígalo.",
)
_OTHERWISE = (
    "It did not get through. NOTHING WAS SAVED: save it once more, or call and tell it.",
    "No llegó. NO SE GUARDÓ NADA: guárdelo otra vez, o llame y dígalo.",
)
_DANGER = (
    "Smell of gas, or an alarm: everybody out. Touch no switch. Call 911 from outside.",
    "Olor a gas o alarma: todos afuera. No toque ningún interruptor. Llame al 911 desde afuera.",
)


def refusal_on_card(code: str) -> str:
    """Return what is said for a refusal, each sentence in both languages, danger last."""
    return "\n\n".join((*(_LARGE if code == "too_large" else _OTHERWISE), *_DANGER))
