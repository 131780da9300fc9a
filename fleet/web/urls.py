"""URLs of the pages."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from fleet.web.about import about_pages
from fleet.web.account import account_page, asked_page, owner_door_page, people_acts, people_page
from fleet.web.account.password_page import PasswordView
from fleet.web.account.sign_in import SignInView
from fleet.web.alerts import alerts_page
from fleet.web.board import board_page, wall_page
from fleet.web.boiler import boiler_page, building_page, engineering, position_page, visit_page
from fleet.web.calculator import calculator_page
from fleet.web.card import card_page, print_page
from fleet.web.deficiencies import deficiencies_page, deficiency_page
from fleet.web.figures import figures_page
from fleet.web.find import find_page
from fleet.web.jobs import absence_page, call_page, day_book_page, day_slips_page, jobs_page, new_job_page
from fleet.web.notices import call_list_page, link_pages, own_page, sent_page
from fleet.web.probes import metrics_page, probe_pages
from fleet.web.register import register_boiler_page, register_building_page, register_import_page, register_page
from fleet.web.reports import reports_page
from fleet.web.shared import self_check, stale_notice
from fleet.web.shared.welcome import WelcomeView
from fleet.web.sheet import sheet_page
from fleet.web.sources import sources_page
from fleet.web.terms import terms_page

urlpatterns = [
    path("", board_page.show_board, name="board"),
    path("board/rows/", board_page.show_board_rows, name="board-rows"),
    path("wall/", wall_page.show_wall, name="wall"),
    path("buildings/<uuid:building_id>/", building_page.show_building, name="building-page"),
    path("deficiencies/", deficiencies_page.show_deficiencies, name="deficiencies-page"),
    path("deficiencies/<uuid:deficiency_id>/", deficiency_page.show_deficiency, name="deficiency-page"),
    path("deficiencies/<uuid:deficiency_id>/decide/", deficiency_page.decide_deficiency, name="deficiency-act"),
    path("boilers/<uuid:boiler_id>/", boiler_page.show_boiler, name="boiler-page"),
    path("boilers/<uuid:boiler_id>/engineering/<slug:panel>.csv", engineering.download_panel, name="engineering-csv"),
    path("boilers/<uuid:boiler_id>/positions/<uuid:position_id>/", position_page.show_position, name="position-page"),
    path("visits/<uuid:visit_id>/", visit_page.show_visit, name="visit-page"),
    path("visits/<uuid:visit_id>/report.pdf", visit_page.show_visit_report, name="visit-pdf"),
    path("visits/<uuid:visit_id>/second/", visit_page.second_visit, name="visit-second"),
    path("visits/that-name-me/", visit_page.show_naming_visits, name="naming-visits"),
    path("visits/<uuid:visit_id>/<slug:reply>/", visit_page.reply_to_visit, name="visit-reply"),
    path("figures/", figures_page.show_figures, name="figures-page"),
    path("figures/<slug:code>.csv", figures_page.download_table, name="figures-csv"),
    path("boilers/<uuid:boiler_id>/year.pdf", reports_page.show_boiler_year, name="boiler-year-pdf"),
    path("portfolios/<uuid:portfolio_id>/page.pdf", reports_page.show_portfolio_page, name="portfolio-pdf"),
    path("portfolios/<uuid:portfolio_id>/page/", reports_page.show_portfolio_status, name="portfolio-status"),
    path("portfolios/<uuid:portfolio_id>/page.csv", reports_page.download_portfolio_table, name="portfolio-csv"),
    path("shared/", reports_page.show_links, name="shared-links"),
    path("shared/<slug:kind>/<uuid:subject_id>/", reports_page.share_report, name="report-share"),
    path("shared/<uuid:link_id>/end/", reports_page.end_link, name="link-end"),
    path("report/<str:secret>/", reports_page.show_shared_report, name="shared-report"),
    path("report/<str:secret>/report.pdf", reports_page.show_shared_pdf, name="shared-pdf"),
    path("sheet/", sheet_page.show_sheet, name="visit-sheet"),
    path("sheet/manifest.webmanifest", sheet_page.serve_manifest, name="visit-sheet-manifest"),
    path("sheet/files/<str:name>", sheet_page.serve_file, name="visit-sheet-file"),
    path("sheet/worker.js", sheet_page.serve_worker, name="visit-sheet-worker"),
    path("terms/<uuid:portfolio_id>/", terms_page.show_terms, name="terms-page"),
    path("terms/<uuid:portfolio_id>/adopt/", terms_page.adopt_terms, name="terms-adopt"),
    path("words/", about_pages.show_words, name="trade-words"),
    path("licenses/", about_pages.show_licenses, name="licenses"),
    path("find/", find_page.show_found, name="find"),
    path("sources/", sources_page.show_sources, name="sources"),
    path("calculator/", calculator_page.show_calculations, name="calculator"),
    path("calculator/<str:code>/", calculator_page.show_calculation, name="calculation-page"),
    path("jobs/", jobs_page.show_jobs, name="jobs-page"),
    path("jobs/new/", new_job_page.show_new_job, name="job-new"),
    path("jobs/day/", day_book_page.show_day_book, name="day-book"),
    path("jobs/day/plan/", day_book_page.plan_cell, name="day-plan"),
    path("jobs/day/slips/", day_slips_page.show_day_slips, name="day-slips"),
    path("jobs/day/away/", absence_page.show_absence, name="absence-page"),
    path("jobs/day/away/record/", absence_page.record_absence, name="absence-record"),
    path("jobs/day/away/<uuid:absence_id>/end/", absence_page.end_recorded_absence, name="absence-end"),
    path("jobs/make/", new_job_page.make_job, name="job-make"),
    path("jobs/<uuid:job_id>/<slug:kind>/", jobs_page.act_on_job, name="job-act"),
    path("calls/new/", call_page.show_call, name="call-new"),
    path("calls/take/", call_page.take_call, name="call-take"),
    path("register/", register_page.show_register, name="register-page"),
    path("register/add/", register_page.add_building, name="register-add"),
    path("register/sheets/<uuid:portfolio_id>.<slug:kind>", register_page.download_register, name="register-sheet"),
    path(
        "register/buildings/<uuid:building_id>/",
        register_building_page.show_register_building,
        name="register-building",
    ),
    path(
        "register/buildings/<uuid:building_id>/change/",
        register_building_page.change_building,
        name="register-building-change",
    ),
    path("register/boilers/<uuid:boiler_id>/", register_boiler_page.show_register_boiler, name="register-boiler"),
    path(
        "register/boilers/<uuid:boiler_id>/change/", register_boiler_page.change_boiler, name="register-boiler-change"
    ),
    path("register/import/<uuid:portfolio_id>/", register_import_page.show_import, name="register-import-page"),
    path("register/import/<uuid:portfolio_id>/file/", register_import_page.hand_in, name="register-hand-in"),
    path("register/imports/<uuid:import_id>/", register_import_page.show_report, name="register-report"),
    path("register/imports/<uuid:import_id>/<slug:kind>/", register_import_page.decide_import, name="register-decide"),
    path("account/", account_page.show_account, name="account-page"),
    path("account/people/", people_page.show_people, name="people-page"),
    path(
        "account/people/<uuid:portfolio_id>/<uuid:person_id>/",
        people_page.show_role_history,
        name="role-history-page",
    ),
    path("account/people/<uuid:portfolio_id>/new/", people_page.show_new_person, name="person-new"),
    path("account/people/<uuid:portfolio_id>/add/", people_acts.add_person, name="person-add"),
    path(
        "account/people/<uuid:portfolio_id>/<uuid:person_id>/role/",
        people_acts.give_another_role,
        name="person-role",
    ),
    path(
        "account/people/<uuid:portfolio_id>/<uuid:person_id>/qualification/",
        people_acts.note_qualification,
        name="person-qualification",
    ),
    path(
        "account/people/<uuid:portfolio_id>/<uuid:person_id>/<uuid:grant_id>/end/",
        people_acts.end_role,
        name="person-role-end",
    ),
    path("asked/", asked_page.show_asked, name="asked-page"),
    path("asked/<slug:kind>/<str:subject>/", asked_page.answer_asked, name="asked-answer"),
    path("account/password/", PasswordView.as_view(), name="account-password"),
    path("account/sessions/<uuid:session_id>/end/", account_page.end_session, name="session-end"),
    path("account/sessions/end-others/", account_page.end_other_sessions, name="sessions-end-others"),
    path("account/units/", account_page.choose_units, name="units-choose"),
    path("account/telephone/", account_page.keep_telephone, name="telephone-keep"),
    path("account/card-pin/", account_page.set_card_pin, name="card-pin-set"),
    path("account/keys/make/", account_page.make_key, name="key-make"),
    path("account/keys/<uuid:key_id>/revoke/", account_page.revoke_key, name="key-revoke"),
    path("account/calendars/make/", account_page.make_feed, name="feed-make"),
    path("account/calendars/<uuid:feed_id>/revoke/", account_page.revoke_feed, name="feed-revoke"),
    path("fresh/", stale_notice.show_stale_notice, name="fresh"),
    path("healthz", probe_pages.show_alive, name="healthz"),
    path("readyz", probe_pages.show_serving, name="readyz"),
    path("metrics", metrics_page.show_metrics, name="metrics"),
    path("self-check/", self_check.show_self_check, name="self-check"),
    path("alerts/", alerts_page.show_alerts, name="alert-feed"),
    path("alerts/looked/", alerts_page.mark_looked, name="alerts-looked"),
    path("alerts/<slug:kind>/", alerts_page.act_on_alerts, name="alert-act"),
    path("notices/", sent_page.show_sent, name="notices-sent"),
    path("notices/<uuid:notice_id>/", sent_page.show_notice, name="notice-page"),
    path("notices/call-list/<uuid:portfolio_id>/", call_list_page.show_call_list, name="call-list"),
    path("notices/call-list/<uuid:portfolio_id>/change/", call_list_page.change_call_list, name="call-list-change"),
    path("notices/answer/<str:token>/", link_pages.answer_notice, name="notice-answer"),
    path("notices/stop/<str:token>/", link_pages.stop_notices, name="notices-stop"),
    path("notices/confirm/<str:token>/", link_pages.confirm_own_address, name="address-confirm"),
    path("account/notices/", own_page.show_own_notices, name="own-notices"),
    path("account/notices/add/", own_page.add_own_address, name="own-address-add"),
    path("account/notices/choices/", own_page.keep_own_choices, name="own-choices"),
    path(
        "account/notices/<uuid:destination_id>/<slug:change>/",
        own_page.change_own_address,
        name="own-address-change",
    ),
    path("sign-in/", SignInView.as_view(), name="sign-in"),
    path("welcome/<uidb64>/<token>/", WelcomeView.as_view(), name="welcome"),
    path("owner/<str:token>/", owner_door_page.enter_owner_door, name="owner-door"),
    path("open-portfolio/", owner_door_page.open_portfolio, name="open-portfolio"),
    path("boilers/<uuid:boiler_id>/wall-card/", print_page.show_wall_card, name="wall-card"),
    path("boilers/<uuid:boiler_id>/wall-card/print/", print_page.print_wall_card, name="wall-card-print"),
    path("boilers/<uuid:boiler_id>/wall-card/end/", print_page.end_wall_card, name="wall-card-end"),
    path("card/<str:secret>/", card_page.show_card, name="card"),
    path("card/<str:secret>/logged/<uuid:submission>/", card_page.show_logged, name="card-logged"),
    path("card/<str:secret>/<slug:code>/", card_page.show_card_form, name="card-form"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
]
