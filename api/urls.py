"""The API's routes."""

from django.urls import path, re_path

from api.alerts import Acknowledge, Alert, Alerts, Shelve
from api.boilers import Boiler, Boilers, Positions
from api.buildings import Building, Buildings
from api.calculations import Calculation, Calculations
from api.calendar_feed import Feed, Feeds, calendar
from api.changes import Changes
from api.corrections import Second
from api.deficiencies import Assign, Defer, Deficiencies, Deficiency, Explain, ReportRepair
from api.devices import Device, Devices
from api.docs import Docs, Schema
from api.figures import Figures
from api.forecast import Forecast
from api.history import History
from api.idempotency import applied
from api.jobs import Accept, Cancel, Decline, Job, Jobs, Plan, Start, Suggested
from api.keys import Key, Keys, Revoke
from api.nowhere import Nowhere
from api.people import EndGrant, People, Qualifications
from api.portfolios import Portfolio, Portfolios
from api.positions import OnePosition
from api.positions import Positions as AllPositions
from api.procedures import Procedure, Procedures
from api.refused import RefusedPost, RefusedPosts
from api.register import Confirm, ImportLines, ImportOf, Imports, Register, Withdraw
from api.sheet import Sheet
from api.standing import Standing
from api.terms import Terms
from api.visit_lists import Facts
from api.visit_report import Report
from api.visits import Visit, Visits

urlpatterns = [
    path("schema/", Schema.as_view(), name="schema"),
    path("docs/", Docs.as_view(url_name="schema"), name="docs"),
    path("v1/visits/", Visits.as_view(), name="visits"),
    path("v1/visits/<uuid:visit>/", Visit.as_view(), name="visit"),
    path("v1/visits/<uuid:visit>/facts/", Facts.as_view(), name="visit-facts"),
    path("v1/visits/<uuid:visit>/report.pdf", Report.as_view(), name="visit-report"),
    path("v1/portfolios/", Portfolios.as_view(), name="portfolios"),
    path("v1/portfolios/<uuid:portfolio>/", Portfolio.as_view(), name="portfolio"),
    path("v1/buildings/", Buildings.as_view(), name="buildings"),
    path("v1/buildings/<uuid:building>/", Building.as_view(), name="building"),
    path("v1/boilers/", Boilers.as_view(), name="boilers"),
    path("v1/boilers/<uuid:boiler>/", Boiler.as_view(), name="boiler"),
    path("v1/boilers/<uuid:boiler>/history/", History.as_view(), name="history"),
    path("v1/boilers/<uuid:boiler>/sheet/", Sheet.as_view(), name="sheet"),
    path("v1/boilers/<uuid:boiler>/positions/", Positions.as_view(), name="positions"),
    path("v1/boilers/<uuid:boiler>/standing/", Standing.as_view(), name="standing"),
    path("v1/visits/<uuid:visit>/second/", Second.as_view(), name="second"),
    path("v1/positions/", AllPositions.as_view(), name="all-positions"),
    path("v1/positions/<uuid:position>/", OnePosition.as_view(), name="position"),
    path("v1/devices/", Devices.as_view(), name="devices"),
    path("v1/devices/<uuid:device>/", Device.as_view(), name="device"),
    path("v1/procedures/", Procedures.as_view(), name="procedures"),
    path("v1/procedures/<str:code>/", Procedure.as_view(), name="procedure"),
    path("v1/deficiencies/", Deficiencies.as_view(), name="deficiencies"),
    path("v1/deficiencies/<uuid:deficiency>/", Deficiency.as_view(), name="deficiency"),
    path("v1/deficiencies/<uuid:deficiency>/assign/", Assign.as_view(), name="assign"),
    path("v1/deficiencies/<uuid:deficiency>/report-repair/", ReportRepair.as_view(), name="report-repair"),
    path("v1/deficiencies/<uuid:deficiency>/defer/", Defer.as_view(), name="defer"),
    path("v1/deficiencies/<uuid:deficiency>/explain/", Explain.as_view(), name="explain"),
    path("v1/alerts/", Alerts.as_view(), name="alerts"),
    path("v1/alerts/<uuid:alert>/", Alert.as_view(), name="alert"),
    path("v1/alerts/<uuid:alert>/acknowledge/", Acknowledge.as_view(), name="acknowledge"),
    path("v1/alerts/<uuid:alert>/shelve/", Shelve.as_view(), name="shelve"),
    path("v1/portfolios/<uuid:portfolio>/people/", People.as_view(), name="people"),
    path(
        "v1/portfolios/<uuid:portfolio>/people/<uuid:person>/qualifications/",
        Qualifications.as_view(),
        name="qualifications",
    ),
    path("v1/portfolios/<uuid:portfolio>/grants/<uuid:grant>/end/", EndGrant.as_view(), name="end-grant"),
    path("v1/portfolios/<uuid:portfolio>/terms/", Terms.as_view(), name="terms"),
    path("v1/portfolios/<uuid:portfolio>/register/", Register.as_view(), name="register"),
    path("v1/portfolios/<uuid:portfolio>/register/imports/", Imports.as_view(), name="register-imports"),
    path("v1/portfolios/<uuid:portfolio>/register/imports/<uuid:of>/", ImportOf.as_view(), name="register-import"),
    path(
        "v1/portfolios/<uuid:portfolio>/register/imports/<uuid:of>/lines/",
        ImportLines.as_view(),
        name="register-import-lines",
    ),
    path(
        "v1/portfolios/<uuid:portfolio>/register/imports/<uuid:of>/confirm/",
        Confirm.as_view(),
        name="register-import-confirm",
    ),
    path(
        "v1/portfolios/<uuid:portfolio>/register/imports/<uuid:of>/withdraw/",
        Withdraw.as_view(),
        name="register-import-withdraw",
    ),
    path("v1/changes/", Changes.as_view(), name="changes"),
    path("v1/figures/", Figures.as_view(), name="figures"),
    path("v1/figures/forecast/", Forecast.as_view(), name="forecast"),
    path("v1/calculations/", Calculations.as_view(), name="calculations"),
    path("v1/calculations/<str:code>/", Calculation.as_view(), name="calculation"),
    path("v1/jobs/", Jobs.as_view(), name="jobs"),
    path("v1/jobs/suggested/", Suggested.as_view(), name="suggested-jobs"),
    path("v1/jobs/<uuid:job>/", Job.as_view(), name="job"),
    path("v1/jobs/<uuid:job>/plan/", Plan.as_view(), name="plan"),
    path("v1/jobs/<uuid:job>/accept/", Accept.as_view(), name="accept"),
    path("v1/jobs/<uuid:job>/decline/", Decline.as_view(), name="decline"),
    path("v1/jobs/<uuid:job>/start/", Start.as_view(), name="start"),
    path("v1/jobs/<uuid:job>/cancel/", Cancel.as_view(), name="cancel"),
    path("v1/calendar-feeds/", Feeds.as_view(), name="calendar-feeds"),
    path("v1/calendar-feeds/<uuid:feed>/", Feed.as_view(), name="calendar-feed"),
    path("v1/calendars/<str:secret>.ics", calendar, name="calendar"),
    path("v1/keys/", Keys.as_view(), name="keys"),
    path("v1/keys/<uuid:key>/", Key.as_view(), name="key"),
    path("v1/keys/<uuid:key>/revoke/", Revoke.as_view(), name="revoke-key"),
    path("v1/refused-posts/", RefusedPosts.as_view(), name="refused-posts"),
    path("v1/refused-posts/<uuid:post>/", RefusedPost.as_view(), name="refused-post"),
    # Everything else under /api/ is answered with a problem. /api/docs and /api/schema get their slash appended.
    re_path(r"^(?!(?:docs|schema)$)", Nowhere.as_view(), name="nowhere"),
]

applied(urlpatterns)  # every POST is repeatable under its Idempotency-Key
