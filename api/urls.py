"""The API's routes."""

from django.urls import path, re_path

from api.absences import AbsenceListEndpoint, EndAbsenceEndpoint
from api.alerts import AcknowledgeAlertEndpoint, AlertEndpoint, AlertListEndpoint, ShelveAlertEndpoint
from api.asked import AnswerRequestEndpoint, RequestsEndpoint
from api.boilers import BoilerEndpoint, BoilerListEndpoint, BoilerPositionsEndpoint
from api.buildings import BuildingEndpoint, BuildingListEndpoint
from api.calculations import CalculationEndpoint, CalculationListEndpoint
from api.calendar_feed import CalendarFeedEndpoint, CalendarFeedListEndpoint, serve_calendar
from api.call_lists import CallListEndpoint, CallTimesEndpoint
from api.calls import TenantCallListEndpoint
from api.cards import BoilerCardsEndpoint, CardListEndpoint, RevokeCardEndpoint
from api.changes import ChangeListEndpoint
from api.corrections import DenyVisitEndpoint, NamingVisitsEndpoint, SecondCorrectionEndpoint
from api.day_book import DayBookEndpoint
from api.deficiencies import (
    AssignDeficiencyEndpoint,
    DeferDeficiencyEndpoint,
    DeficiencyEndpoint,
    DeficiencyListEndpoint,
    ExplainDeficiencyEndpoint,
    ReportRepairEndpoint,
)
from api.destinations import (
    ChangeSecretEndpoint,
    DestinationEndpoint,
    DestinationListEndpoint,
    NoticeChoicesEndpoint,
)
from api.devices import DeviceEndpoint, DeviceListEndpoint
from api.docs import ApiDocsEndpoint, OpenApiSchemaEndpoint
from api.field_day import FieldDayEndpoint
from api.field_pack import FieldPackEndpoint
from api.field_words import FieldWordsEndpoint
from api.figures import FiguresEndpoint
from api.forecast import ForecastEndpoint
from api.history import HistoryEndpoint
from api.http.idempotency import make_posts_repeatable
from api.http.unknown_routes import UnknownRouteEndpoint
from api.jobs import (
    AcceptJobEndpoint,
    CancelJobEndpoint,
    DeclineJobEndpoint,
    JobEndpoint,
    JobListEndpoint,
    PlanJobEndpoint,
    StartJobEndpoint,
    SuggestedJobsEndpoint,
    WithdrawPlanEndpoint,
)
from api.keys import KeyEndpoint, KeyListEndpoint, RevokeKeyEndpoint
from api.notices import AcknowledgeNoticeEndpoint, NoticeEndpoint, NoticeListEndpoint
from api.paper_files import PaperContentEndpoint, PaperFileEndpoint
from api.people import EndGrantEndpoint, PeopleEndpoint, QualificationsEndpoint, RoleHistoryEndpoint
from api.photos import PhotographEndpoint, PictureEndpoint
from api.portfolios import PortfolioEndpoint, PortfolioListEndpoint
from api.positions import PositionEndpoint
from api.positions import PositionListEndpoint as AllPositions
from api.procedures import ProcedureEndpoint, ProcedureListEndpoint
from api.refused_posts import RefusedPostEndpoint, RefusedPostListEndpoint
from api.register import (
    ConfirmImportEndpoint,
    ImportEndpoint,
    ImportLinesEndpoint,
    ImportsEndpoint,
    RegisterEndpoint,
    WithdrawImportEndpoint,
)
from api.shared_links import SharedLinkEndpoint, SharedLinkListEndpoint
from api.sheet import SheetEndpoint
from api.sources import SourceListEndpoint
from api.standing import StandingEndpoint
from api.terms import TermsEndpoint
from api.visit_lists import VisitFactsEndpoint
from api.visit_report import VisitReportEndpoint
from api.visits import CheckVisitEndpoint, VisitAnswerEndpoint, VisitListEndpoint

urlpatterns = [
    path("schema/", OpenApiSchemaEndpoint.as_view(), name="schema"),
    path("docs/", ApiDocsEndpoint.as_view(url_name="schema"), name="docs"),
    path("v1/visits/", VisitListEndpoint.as_view(), name="visits"),
    path("v1/visits/check/", CheckVisitEndpoint.as_view(), name="check-visit"),
    path("v1/visits/that-name-me/", NamingVisitsEndpoint.as_view(), name="naming-visits"),
    path("v1/visits/<uuid:visit>/", VisitAnswerEndpoint.as_view(), name="visit"),
    path("v1/visits/<uuid:visit>/facts/", VisitFactsEndpoint.as_view(), name="visit-facts"),
    path("v1/visits/<uuid:visit>/report.pdf", VisitReportEndpoint.as_view(), name="visit-report"),
    path("v1/photos/<str:sha256>/", PhotographEndpoint.as_view(), name="photograph"),
    path("v1/photos/<str:sha256>/picture.jpg", PictureEndpoint.as_view(), name="picture"),
    path("v1/paper-files/<str:sha256>/", PaperFileEndpoint.as_view(), name="paper-file"),
    path("v1/paper-files/<str:sha256>/content/", PaperContentEndpoint.as_view(), name="paper-content"),
    path("v1/portfolios/", PortfolioListEndpoint.as_view(), name="portfolios"),
    path("v1/portfolios/<uuid:portfolio>/", PortfolioEndpoint.as_view(), name="portfolio"),
    path("v1/buildings/", BuildingListEndpoint.as_view(), name="buildings"),
    path("v1/buildings/<uuid:building>/", BuildingEndpoint.as_view(), name="building"),
    path("v1/boilers/", BoilerListEndpoint.as_view(), name="boilers"),
    path("v1/boilers/<uuid:boiler>/", BoilerEndpoint.as_view(), name="boiler"),
    path("v1/boilers/<uuid:boiler>/history/", HistoryEndpoint.as_view(), name="history"),
    path("v1/boilers/<uuid:boiler>/sheet/", SheetEndpoint.as_view(), name="sheet"),
    path("v1/boilers/<uuid:boiler>/field-pack/", FieldPackEndpoint.as_view(), name="field-pack"),
    path("v1/field/day/", FieldDayEndpoint.as_view(), name="field-day"),
    path("v1/field/words/", FieldWordsEndpoint.as_view(), name="field-words"),
    path("v1/boilers/<uuid:boiler>/cards/", BoilerCardsEndpoint.as_view(), name="boiler-cards"),
    path("v1/cards/", CardListEndpoint.as_view(), name="cards"),
    path("v1/cards/<uuid:card>/revoke/", RevokeCardEndpoint.as_view(), name="revoke-card"),
    path("v1/boilers/<uuid:boiler>/positions/", BoilerPositionsEndpoint.as_view(), name="positions"),
    path("v1/boilers/<uuid:boiler>/standing/", StandingEndpoint.as_view(), name="standing"),
    path("v1/visits/<uuid:visit>/second/", SecondCorrectionEndpoint.as_view(), name="second"),
    path("v1/visits/<uuid:visit>/deny/", DenyVisitEndpoint.as_view(), name="deny"),
    path("v1/positions/", AllPositions.as_view(), name="all-positions"),
    path("v1/positions/<uuid:position>/", PositionEndpoint.as_view(), name="position"),
    path("v1/devices/", DeviceListEndpoint.as_view(), name="devices"),
    path("v1/devices/<uuid:device>/", DeviceEndpoint.as_view(), name="device"),
    path("v1/sources/", SourceListEndpoint.as_view(), name="sources"),
    path("v1/procedures/", ProcedureListEndpoint.as_view(), name="procedures"),
    path("v1/procedures/<str:code>/", ProcedureEndpoint.as_view(), name="procedure"),
    path("v1/deficiencies/", DeficiencyListEndpoint.as_view(), name="deficiencies"),
    path("v1/deficiencies/<uuid:deficiency>/", DeficiencyEndpoint.as_view(), name="deficiency"),
    path("v1/deficiencies/<uuid:deficiency>/assign/", AssignDeficiencyEndpoint.as_view(), name="assign"),
    path("v1/deficiencies/<uuid:deficiency>/report-repair/", ReportRepairEndpoint.as_view(), name="report-repair"),
    path("v1/deficiencies/<uuid:deficiency>/defer/", DeferDeficiencyEndpoint.as_view(), name="defer"),
    path("v1/deficiencies/<uuid:deficiency>/explain/", ExplainDeficiencyEndpoint.as_view(), name="explain"),
    path("v1/alerts/", AlertListEndpoint.as_view(), name="alerts"),
    path("v1/alerts/<uuid:alert>/", AlertEndpoint.as_view(), name="alert"),
    path("v1/alerts/<uuid:alert>/acknowledge/", AcknowledgeAlertEndpoint.as_view(), name="acknowledge"),
    path("v1/alerts/<uuid:alert>/shelve/", ShelveAlertEndpoint.as_view(), name="shelve"),
    path("v1/portfolios/<uuid:portfolio>/people/", PeopleEndpoint.as_view(), name="people"),
    path(
        "v1/portfolios/<uuid:portfolio>/people/<uuid:person>/roles/", RoleHistoryEndpoint.as_view(), name="role-history"
    ),
    path(
        "v1/portfolios/<uuid:portfolio>/people/<uuid:person>/qualifications/",
        QualificationsEndpoint.as_view(),
        name="qualifications",
    ),
    path("v1/portfolios/<uuid:portfolio>/grants/<uuid:grant>/end/", EndGrantEndpoint.as_view(), name="end-grant"),
    path("v1/portfolios/<uuid:portfolio>/terms/", TermsEndpoint.as_view(), name="terms"),
    path("v1/portfolios/<uuid:portfolio>/register/", RegisterEndpoint.as_view(), name="register"),
    path("v1/portfolios/<uuid:portfolio>/register/imports/", ImportsEndpoint.as_view(), name="register-imports"),
    path(
        "v1/portfolios/<uuid:portfolio>/register/imports/<uuid:of>/", ImportEndpoint.as_view(), name="register-import"
    ),
    path(
        "v1/portfolios/<uuid:portfolio>/register/imports/<uuid:of>/lines/",
        ImportLinesEndpoint.as_view(),
        name="register-import-lines",
    ),
    path(
        "v1/portfolios/<uuid:portfolio>/register/imports/<uuid:of>/confirm/",
        ConfirmImportEndpoint.as_view(),
        name="register-import-confirm",
    ),
    path(
        "v1/portfolios/<uuid:portfolio>/register/imports/<uuid:of>/withdraw/",
        WithdrawImportEndpoint.as_view(),
        name="register-import-withdraw",
    ),
    path("v1/changes/", ChangeListEndpoint.as_view(), name="changes"),
    path("v1/figures/", FiguresEndpoint.as_view(), name="figures"),
    path("v1/figures/forecast/", ForecastEndpoint.as_view(), name="forecast"),
    path("v1/calculations/", CalculationListEndpoint.as_view(), name="calculations"),
    path("v1/calculations/<str:code>/", CalculationEndpoint.as_view(), name="calculation"),
    path("v1/asked/", RequestsEndpoint.as_view(), name="asked"),
    path("v1/asked/<slug:kind>/<str:subject>/", AnswerRequestEndpoint.as_view(), name="answer-asked"),
    path("v1/jobs/", JobListEndpoint.as_view(), name="jobs"),
    path("v1/calls/", TenantCallListEndpoint.as_view(), name="calls"),
    path("v1/day-book/", DayBookEndpoint.as_view(), name="day-book"),
    path("v1/jobs/suggested/", SuggestedJobsEndpoint.as_view(), name="suggested-jobs"),
    path("v1/jobs/<uuid:job>/", JobEndpoint.as_view(), name="job"),
    path("v1/jobs/<uuid:job>/plan/", PlanJobEndpoint.as_view(), name="plan"),
    path("v1/jobs/<uuid:job>/accept/", AcceptJobEndpoint.as_view(), name="accept"),
    path("v1/jobs/<uuid:job>/decline/", DeclineJobEndpoint.as_view(), name="decline"),
    path("v1/jobs/<uuid:job>/start/", StartJobEndpoint.as_view(), name="start"),
    path("v1/jobs/<uuid:job>/withdraw/", WithdrawPlanEndpoint.as_view(), name="withdraw"),
    path("v1/jobs/<uuid:job>/cancel/", CancelJobEndpoint.as_view(), name="cancel"),
    path("v1/calendar-feeds/", CalendarFeedListEndpoint.as_view(), name="calendar-feeds"),
    path("v1/calendar-feeds/<uuid:feed>/", CalendarFeedEndpoint.as_view(), name="calendar-feed"),
    path("v1/calendars/<str:secret>.ics", serve_calendar, name="calendar"),
    path("v1/shared-links/", SharedLinkListEndpoint.as_view(), name="link-list"),
    path("v1/shared-links/<uuid:link>/", SharedLinkEndpoint.as_view(), name="link"),
    path("v1/keys/", KeyListEndpoint.as_view(), name="keys"),
    path("v1/keys/<uuid:key>/", KeyEndpoint.as_view(), name="key"),
    path("v1/keys/<uuid:key>/revoke/", RevokeKeyEndpoint.as_view(), name="revoke-key"),
    path("v1/notices/", NoticeListEndpoint.as_view(), name="notices"),
    path("v1/notices/<uuid:notice>/", NoticeEndpoint.as_view(), name="notice"),
    path("v1/notices/<uuid:notice>/acknowledge/", AcknowledgeNoticeEndpoint.as_view(), name="acknowledge-notice"),
    path("v1/portfolios/<uuid:portfolio>/call-list/", CallListEndpoint.as_view(), name="call-list"),
    path("v1/portfolios/<uuid:portfolio>/call-list/times/", CallTimesEndpoint.as_view(), name="call-times"),
    path("v1/portfolios/<uuid:portfolio>/absences/", AbsenceListEndpoint.as_view(), name="absences"),
    path(
        "v1/portfolios/<uuid:portfolio>/absences/<uuid:absence>/end/", EndAbsenceEndpoint.as_view(), name="end-absence"
    ),
    path("v1/destinations/", DestinationListEndpoint.as_view(), name="destinations"),
    path("v1/destinations/<uuid:destination>/", DestinationEndpoint.as_view(), name="destination"),
    path("v1/destinations/<uuid:destination>/secret/", ChangeSecretEndpoint.as_view(), name="destination-secret"),
    path("v1/notice-choices/", NoticeChoicesEndpoint.as_view(), name="notice-choices"),
    path("v1/refused-posts/", RefusedPostListEndpoint.as_view(), name="refused-posts"),
    path("v1/refused-posts/<uuid:post>/", RefusedPostEndpoint.as_view(), name="refused-post"),
    # Everything else under /api/ is answered with a problem. /api/docs and /api/schema get their slash appended.
    re_path(r"^(?!(?:docs|schema)$)", UnknownRouteEndpoint.as_view(), name="nowhere"),
]

make_posts_repeatable(urlpatterns)  # every POST is repeatable under its Idempotency-Key
