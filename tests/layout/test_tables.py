"""Keys point down the list of rooms; every row carries its portfolio; the database itself guards the evidence."""

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.apps.registry import Apps
from django.db import connection, models

from tests.layout import tables
from tests.layout.tree import layers, listed
from tests.site_role import as_tables_owner


def all_models() -> list[tables.Rows]:
    return list(apps.get_models(include_auto_created=True))


def make_model(label: str, **fields: models.Field) -> tables.Rows:
    """Return a model `room.Name` in a registry of its own, so that the site never sees it."""
    room, name = label.split(".")
    meta = type("Meta", (), {"app_label": room, "apps": Apps()})
    return type(name, (models.Model,), {"__module__": __name__, "Meta": meta, **fields})


def link(to: tables.Rows, kind: type[models.Field] = models.ForeignKey) -> models.Field:
    options = {} if kind is models.ManyToManyField else {"on_delete": models.CASCADE}
    return kind(to, related_name="+", **options)


@pytest.fixture
def make_tables(db: None) -> Iterator[None]:
    """Two rows of a portfolio that point at a third: one key holds the portfolio, one does not."""
    with as_tables_owner(), connection.cursor() as cursor:
        cursor.execute(
            """
            CREATE TABLE layout_boiler (portfolio_id int, id int PRIMARY KEY, UNIQUE (portfolio_id, id));
            CREATE TABLE layout_held (
                portfolio_id int, boiler_id int,
                FOREIGN KEY (portfolio_id, boiler_id) REFERENCES layout_boiler (portfolio_id, id));
            CREATE TABLE layout_loose (portfolio_id int, boiler_id int REFERENCES layout_boiler (id));
            CREATE FUNCTION layout_refuse() RETURNS trigger LANGUAGE plpgsql
                AS $$ BEGIN RAISE EXCEPTION 'append-only'; END $$;
            CREATE FUNCTION layout_nod() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$;
            CREATE TRIGGER guard BEFORE UPDATE OR DELETE ON layout_boiler
                FOR EACH ROW EXECUTE FUNCTION layout_refuse();
            CREATE TRIGGER guard BEFORE UPDATE ON layout_held FOR EACH ROW EXECUTE FUNCTION layout_refuse();
            CREATE TRIGGER guard BEFORE UPDATE OR DELETE ON layout_loose
                FOR EACH ROW EXECUTE FUNCTION layout_nod();
            """
        )
        yield


def test_every_room_with_tables_is_known() -> None:
    labels = {config.label for config in apps.get_app_configs() if config.name.startswith("fleet.")}
    assert labels <= {room for layer in layers() for room in layer}


def test_no_key_points_up_the_list_of_rooms() -> None:
    faults = tables.upward(all_models())
    assert not faults, listed(faults)


def test_every_row_of_a_portfolio_says_whose_it_is() -> None:
    faults = tables.without_portfolio(all_models())
    assert not faults, listed(faults)


def test_the_exceptions_from_evidence_are_real_tables() -> None:
    assert set(tables.NOT_EVIDENCE) <= {model._meta.label_lower for model in all_models()}


@pytest.mark.django_db
def test_no_key_leads_into_another_portfolio() -> None:
    faults = tables.loose_keys(all_models())
    assert not faults, listed(faults)


@pytest.mark.django_db
def test_evidence_is_guarded_against_update_and_delete() -> None:
    found = [model._meta.db_table for model in tables.evidence(all_models())]
    faults = tables.unguarded(found)
    assert found
    assert not faults, listed(faults)


@pytest.mark.parametrize("kind", [models.ForeignKey, models.OneToOneField, models.ManyToManyField])
def test_a_planted_upward_key_is_found(kind: type[models.Field]) -> None:
    segment = make_model("board.Segment")
    visit = make_model("visits.Visit", segment=link(segment, kind))
    assert tables.upward([segment, visit]) == ["visits.visit.segment → board.segment"]


def test_a_key_down_within_the_room_or_to_a_third_party_is_fine() -> None:
    boiler, stranger = make_model("portfolio.Boiler"), make_model("auth.Group")
    visit = make_model("visits.Visit", boiler=link(boiler), group=link(stranger))
    entry = make_model("visits.Entry", visit=link(visit))
    assert tables.upward([boiler, stranger, visit, entry]) == []


def test_a_row_without_its_portfolio_is_found() -> None:
    portfolio = make_model("portfolio.Portfolio")
    boiler = make_model("portfolio.Boiler", portfolio=link(portfolio))
    maybe = models.ForeignKey(portfolio, null=True, on_delete=models.CASCADE)
    segment, kind = make_model("board.Segment", portfolio=maybe), make_model("catalog.Kind")
    visit = make_model("visits.Visit")
    assert tables.without_portfolio([portfolio, boiler, segment, kind, visit]) == ["board.segment", "visits.visit"]


def test_a_new_table_of_an_evidence_room_is_evidence_unless_named() -> None:
    fitting, boiler = make_model("portfolio.Fitting"), make_model("portfolio.Boiler")
    segment = make_model("board.Segment")
    assert tables.evidence([fitting, boiler, segment]) == [fitting]


@pytest.mark.usefixtures("make_tables")
def test_a_key_that_does_not_hold_the_portfolio_is_found() -> None:
    portfolio = make_model("portfolio.Portfolio")
    boiler = make_model("layout.Boiler", portfolio=link(portfolio))
    held = make_model("visits.Held", portfolio=link(portfolio), boiler=link(boiler))
    loose = make_model("visits.Loose", portfolio=link(portfolio), boiler=link(boiler))
    held._meta.db_table, loose._meta.db_table = "layout_held", "layout_loose"
    assert tables.loose_keys([portfolio, held, loose]) == ["visits.loose.boiler"]


@pytest.mark.usefixtures("make_tables")
def test_a_table_without_a_guard_that_refuses_both_is_found() -> None:
    assert tables.unguarded(["layout_boiler", "layout_held", "layout_loose"]) == ["layout_held", "layout_loose"]


@pytest.mark.usefixtures("make_tables")
def test_a_guard_that_was_switched_off_is_found() -> None:
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE layout_boiler DISABLE TRIGGER guard")
    assert tables.unguarded(["layout_boiler"]) == ["layout_boiler"]
