"""Invented names: a city, its streets, two property managers and their people."""

from fleet.management.town.story_values import TownMember

ZONE = "America/New_York"

STREETS = (
    "Anchor Loft Street", "Barley Steps", "Candlewick Row", "Dovecote Street", "Elmwright Avenue", "Ferrymans Way",
    "Glovers Rise", "Hazelmere Street", "Inkpot Lane", "Juniper Walk", "Kettlehouse Street", "Lanternside",
    "Marlpit Street", "Nettlewick Avenue", "Orchard Quay", "Pinmakers Street", "Quince Street", "Ropewalk Terrace",
    "Saltbox Street", "Thimble Street", "Upper Sluice Street", "Vinegar Yard Street", "Whistlers Hill",
    "Yarrow Street", "Ashlar Street", "Bellfounders Row", "Cooperage Street", "Drapers Bend", "Eelpond Street",
    "Fennel Street",
)  # fmt: skip


def _make_people(*rows: tuple[str, str, str, str]) -> tuple[TownMember, ...]:
    return tuple(
        TownMember(user, name, role, tuple(qualifications.split())) for user, name, role, qualifications in rows
    )


OTHER_TRADES = "gas_train backflow_tester"  # each of their technicians holds these as well
QUILLHAVEN = _make_people(
    ("maud", "Maud Ellery", "owner", ""),
    ("tobias", "Tobias Renn", "manager", ""),
    ("odile", "Odile Marsh", "dispatcher", ""),
    ("kemal", "Kemal Aydin", "technician", f"technician operator fire_side {OTHER_TRADES}"),
    ("lena", "Lena Brandt", "technician", f"technician operator fire_side {OTHER_TRADES}"),
    ("pavel", "Pavel Horak", "technician", f"technician operator valve_shop {OTHER_TRADES}"),
    ("cyrus", "Cyrus Bell", "caretaker", "operator"),
    ("dora", "Dora Lindqvist", "caretaker", "operator"),
    ("emil", "Emil Sato", "caretaker", "operator"),
    ("fritz", "Fritz Amara", "caretaker", "operator"),
    ("gwen", "Gwen Tull", "caretaker", ""),
    ("harold", "Harold Voss", "inspector", "inspector utility"),
)
BRINDLECOTE = _make_people(
    ("winnie", "Winnie Osei", "owner", ""),
    ("ansel", "Ansel Dupree", "manager", ""),
    ("beate", "Beate Kowal", "dispatcher", ""),
    ("rui", "Rui Teixeira", "technician", f"technician operator fire_side {OTHER_TRADES}"),
    ("sunniva", "Sunniva Dahl", "technician", f"technician operator fire_side valve_shop {OTHER_TRADES}"),
    ("theo", "Theo Marrable", "technician", f"technician operator {OTHER_TRADES}"),
    ("una", "Una Calloway", "caretaker", "operator"),
    ("vito", "Vito Serra", "caretaker", "operator"),
    ("wanda", "Wanda Pruitt", "caretaker", "operator"),
    ("xaver", "Xaver Lund", "caretaker", "operator"),
    ("yusuf", "Yusuf Karim", "caretaker", ""),
    ("zora", "Zora Petty", "office", ""),
    ("ivo", "Ivo Stanton", "inspector", "inspector utility"),
)

MANAGERS = (("QUILLHAVEN", "Quillhaven Housing", QUILLHAVEN), ("BRINDLECOTE", "Brindlecote Rents", BRINDLECOTE))
