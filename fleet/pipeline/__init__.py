"""The only way in for facts and for time: every verb about a boiler is the same lines, in `conclude.write`."""

from fleet.pipeline.catalogue import load_catalogue
from fleet.pipeline.conclude import Concluded
from fleet.pipeline.register import change_register
from fleet.pipeline.sweep import Swept, rebuild, sweep
from fleet.pipeline.visits import Posted, post_visits

__all__ = ["Concluded", "Posted", "Swept", "change_register", "load_catalogue", "post_visits", "rebuild", "sweep"]
