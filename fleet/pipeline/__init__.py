"""The only way in for facts and for time: every verb about a boiler is the same lines, in `conclude.write`."""

from fleet.pipeline.acts import act_on_alert, act_on_deficiency
from fleet.pipeline.catalogue import load_catalogue
from fleet.pipeline.conclude import Concluded
from fleet.pipeline.corrections import second_correction
from fleet.pipeline.jobs import Asked, act_on_job, create_job
from fleet.pipeline.papers import add_paper
from fleet.pipeline.register import change_register
from fleet.pipeline.sweep import Swept, rebuild, sweep
from fleet.pipeline.terms import adopt_terms
from fleet.pipeline.visits import Posted, post_visits

__all__ = [
    "Asked",
    "Concluded",
    "Posted",
    "Swept",
    "act_on_alert",
    "act_on_deficiency",
    "act_on_job",
    "add_paper",
    "adopt_terms",
    "change_register",
    "create_job",
    "load_catalogue",
    "post_visits",
    "rebuild",
    "second_correction",
    "sweep",
]
