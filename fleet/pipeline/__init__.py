"""The only way in for facts and for time. Every verb about a boiler goes through `conclude.write_and_conclude`."""

from fleet.pipeline.absences import RecordedAbsence, jobs_during, record_absence_and_open_jobs
from fleet.pipeline.acts import act_on_alert, act_on_deficiency
from fleet.pipeline.answered_notices import acknowledge_notice, answerable_alerts
from fleet.pipeline.calls import take_call
from fleet.pipeline.cards import (
    CardAnswer,
    NewCard,
    keep_card_picture,
    log_from_card,
    make_card,
    revoke_card,
    without_picture,
)
from fleet.pipeline.catalogue import load_catalogue
from fleet.pipeline.conclude import BoilerConclusion
from fleet.pipeline.corrections import second_correction
from fleet.pipeline.edits import (
    EditScope,
    add_building,
    add_cells,
    edit_cells,
    hand_in_paper,
    remove_device,
    set_service,
    set_value,
)
from fleet.pipeline.imports import confirm_import, receive_import, withdraw_import, work_on_imports
from fleet.pipeline.jobs import JobRequest, act_on_job, create_job
from fleet.pipeline.named_people import OWN_NAME, SECOND_NAME, capacity_to_second, reply_to_naming
from fleet.pipeline.papers import add_paper
from fleet.pipeline.past_visits import PastVisit, post_past_visits
from fleet.pipeline.people import end_role, grant_role, qualify_person
from fleet.pipeline.portfolios import NewOwner, NewPortfolio, open_portfolio
from fleet.pipeline.register import change_register
from fleet.pipeline.requests import RequestAnswer, answer_request
from fleet.pipeline.sweep import SweepResult, rebuild, sweep
from fleet.pipeline.telling import sweep_notices
from fleet.pipeline.terms import adopt_terms
from fleet.pipeline.trips import TripPlan, plan_trip
from fleet.pipeline.visits import PostedVisit, check_visit, post_visits

__all__ = [
    "OWN_NAME",
    "SECOND_NAME",
    "BoilerConclusion",
    "CardAnswer",
    "EditScope",
    "JobRequest",
    "NewCard",
    "NewOwner",
    "NewPortfolio",
    "PastVisit",
    "PostedVisit",
    "RecordedAbsence",
    "RequestAnswer",
    "SweepResult",
    "TripPlan",
    "acknowledge_notice",
    "act_on_alert",
    "act_on_deficiency",
    "act_on_job",
    "add_building",
    "add_cells",
    "add_paper",
    "adopt_terms",
    "answer_request",
    "answerable_alerts",
    "capacity_to_second",
    "change_register",
    "check_visit",
    "confirm_import",
    "create_job",
    "edit_cells",
    "end_role",
    "grant_role",
    "hand_in_paper",
    "jobs_during",
    "keep_card_picture",
    "load_catalogue",
    "log_from_card",
    "make_card",
    "open_portfolio",
    "plan_trip",
    "post_past_visits",
    "post_visits",
    "qualify_person",
    "rebuild",
    "receive_import",
    "record_absence_and_open_jobs",
    "remove_device",
    "reply_to_naming",
    "revoke_card",
    "second_correction",
    "set_service",
    "set_value",
    "sweep",
    "sweep_notices",
    "take_call",
    "withdraw_import",
    "without_picture",
    "work_on_imports",
]
