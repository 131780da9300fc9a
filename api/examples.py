"""Examples of the OpenAPI document, about the demonstration's boiler 1 in 12 Alder Terrace. All are valid requests."""

from drf_spectacular.utils import OpenApiExample

from fleet.rules.wording import ADVICE_CAUTION

BOILER = "2f939f8a-33cf-525d-b755-10a0a756636e"
TECHNICIAN = "6ba17026-a0bd-544d-81f4-1db83ae0e4fc"
UPPER_CUTOFF = "f3a3fe50-eebd-507d-99d2-751d7463311d"
SAFETY_VALVE = "b536017b-bdb2-5bf3-97d9-aeb4cbb94de5"
FLOAT_CHAMBER = "1ecd0845-e77d-5a0d-b098-c122c9c4bb24"

FAILED_FLUSH: dict[str, object] = {
    "id": "0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11",
    "boiler": BOILER,
    "kind": "routine_check",
    "performed_at": "2026-01-12T07:10:00-05:00",
    "people": [{"user": TECHNICIAN}],
    "state_on_arrival": "firing",
    "left_as": "off_locked",
    "entries": [
        {
            "test": "flush",
            "position": UPPER_CUTOFF,
            "outcome": "fail",
            "readings": {"burner_firing": True, "water": "runs", "burner_stopped": False, "recovery": "prompt"},
        }
    ],
}
REPAIR: dict[str, object] = {
    "id": "0198f41e-2b60-7f02-8d1c-51f7a0c6e3b2",
    "boiler": BOILER,
    "kind": "follow_up",
    "performed_at": "2026-01-12T08:05:00-05:00",
    "people": [{"user": TECHNICIAN}],
    "call_for_heat": True,
    "state_on_arrival": "off",
    "left_as": "on_call",
    "entries": [
        {"action": "open_clean", "position": UPPER_CUTOFF},
        {"action": "open_clean", "position": FLOAT_CHAMBER},
        {
            "test": "slow_drain",
            "position": UPPER_CUTOFF,
            "phase": "as_left",
            "outcome": "pass",
            "readings": {"burner_firing": True, "burner_stopped": True, "trip_in": 2.5},
            "performed_at": "2026-01-12T08:50:00-05:00",
        },
        {
            "test": "flush",
            "position": UPPER_CUTOFF,
            "phase": "as_left",
            "outcome": "pass",
            "readings": {"burner_firing": True, "water": "runs", "burner_stopped": True, "recovery": "prompt"},
        },
    ],
    "leaving_checks": {
        "jumpers_off": True,
        "set_points_read": True,
        "feed_open": True,
        "drains_shut": True,
        "glass_cocks_open": True,
        "resets_in": True,
        "water_at_line": True,
        "tags_accounted": True,
        "told": [{"name": "Ines Okafor", "how": "phone", "at": "2026-01-12T08:55:00-05:00"}],
    },
}
SHOP_PAPER: dict[str, object] = {
    "id": "0198f4a0-5d10-7c3e-9b52-6a1e0c8d7f44",
    "boiler": BOILER,
    "kind": "follow_up",
    "performed_at": "2026-01-09T11:00:00-05:00",
    "people": [{"user": TECHNICIAN}],
    "paper": {
        "body": "valve_shop",
        "name": "Harbor Valve Shop",
        "number": "26-0117",
        "dated_on": "2026-01-09",
        "file": {
            "name": "harbor-26-0117.pdf",
            "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
            "size": 182044,
            "type": "application/pdf",
        },
    },
    "entries": [
        {
            "test": "valve_shop_test",
            "position": SAFETY_VALVE,
            "outcome": "pass",
            "serial": "HV-20417",
            "readings": {"opens_psi": 15, "tight": True, "sealed": True},
        }
    ],
}
PROBLEM: dict[str, object] = {
    "type": "about:blank",
    "title": "Unprocessable Entity",
    "status": 422,
    "code": "not_possible",
    "detail": "trip_psi is outside -5 to 60 psi.",
    "errors": [
        {
            "code": "not_possible",
            "message": "trip_psi is outside -5 to 60 psi.",
            "pointer": "/entries/0/readings/trip_psi",
        }
    ],
}

POST_VISIT = [
    OpenApiExample("A failed flush", value=FAILED_FLUSH, request_only=True),
    OpenApiExample("The repair, proven", value=REPAIR, request_only=True),
    OpenApiExample("A valve shop's paper, posted by whoever holds it", value=SHOP_PAPER, request_only=True),
    OpenApiExample("Refused", value=PROBLEM, response_only=True, status_codes=["422"]),
]

BOILERS_PAGE: dict[str, object] = {
    "caution": ADVICE_CAUTION,
    "as_of": "2026-01-12T12:10:05Z",
    "changed": False,
    "items": [
        {
            "id": BOILER,
            "portfolio": "3d0b1f5e-6a43-5b0c-9b7e-0d6d3c1f2a77",
            "building": "2842435a-aa19-54d2-8ddb-337f72130b35",
            "address": "12 Alder Terrace",
            "ref": "B1",
            "name": "Boiler 1",
            "standing": "hold",
            "since": "2026-01-12T12:10:00Z",
            "until": None,
            "reason": "The burner kept firing while the upper cutoff was flushed. (Mon 12 Jan 2026)",
            "reasons": [
                {
                    "rule": "flush_keeps_firing",
                    "sentence": "The burner kept firing while the upper cutoff was flushed. (Mon 12 Jan 2026)",
                    "hazard": "dry_firing",
                    "position": UPPER_CUTOFF,
                    "entry": "5a4f2f0e-1f0c-5c68-8f0e-3f6f5f2b9d10",
                    "since": "2026-01-12T12:10:00+00:00",
                }
            ],
            "then": "Switch the burner off by hand now.",
            "service_state": "in_service",
        }
    ],
    "next": None,
}
LIST_BOILERS = [OpenApiExample("One boiler on hold", value=BOILERS_PAGE, response_only=True, status_codes=["200"])]
