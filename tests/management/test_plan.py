"""What a site runs: all of it under the account of the site, and each with the passwords that it needs."""

from pathlib import Path

import pytest

from fleet.management.embedded import plan
from fleet.management.embedded.account import Account
from fleet.management.embedded.address import ListenAddress
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.processes import Program
from fleet.management.embedded.program_copy import ProgramPlace
from fleet.management.embedded.site import MakePlan, SitePlan
from fleet.management.embedded.site_accounts import choose_accounts

ENV = {"DATABASE_URL": "database", "REDIS_URL": "broker", "GAUGEGLASS_SECRET_KEY": "key", "PATH": "/bin"}
SITE = Account(61001, 61001, "gaugeglass", switch=True)
PLANS = pytest.mark.parametrize("make_plan", [plan.site_plan, plan.demo_plan])


def programs_of(made: SitePlan) -> list[Program]:
    beside = [program for program in (made.last_words, made.background) if program]
    return [*made.steps, *made.staff, *beside]


def make(make_plan: MakePlan, folder: Path) -> SitePlan:
    return make_plan(Folder(folder, choose_accounts("test")), ListenAddress("127.0.0.1", 8000), ENV)


@PLANS
def test_every_program_of_a_plan_runs_as_the_site_with_its_interpreter_and_its_code(
    make_plan: MakePlan, tmp_path: Path
) -> None:
    place = ProgramPlace(SITE, python="/copy/python", root="/copy/code", env={"LD_LIBRARY_PATH": "/copy/lib"})
    moved = programs_of(make(make_plan, tmp_path).moved_to(place))
    assert len(moved) == len(programs_of(make(make_plan, tmp_path)))
    assert {(p.account, p.argv[0], p.cwd, p.env["LD_LIBRARY_PATH"]) for p in moved} == {
        (SITE, "/copy/python", "/copy/code", "/copy/lib")
    }
    scripts = {word for program in moved for word in program.argv if word.endswith("manage.py")}
    assert scripts == {"/copy/code/manage.py"}


@PLANS
def test_beat_is_given_no_password_but_the_brokers(make_plan: MakePlan, tmp_path: Path) -> None:
    envs = {program.name: set(program.env) for program in make(make_plan, tmp_path).staff}
    assert envs["beat"] == {"REDIS_URL", "PATH"}
    assert envs["worker"] == envs["web"] == set(ENV)
