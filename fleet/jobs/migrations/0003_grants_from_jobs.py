"""Grants that only came with a job are known as such: who has no other does not belong to the portfolio."""

from django.db import migrations

from fleet.records import base_model


class Migration(migrations.Migration):
    """Marks the grants that jobs made; those that somebody had given before, and jobs made longer, stay as they are."""

    dependencies = [
        ("accounts", "0010_asked_people"),
        ("jobs", "0002_act_class_name"),
    ]

    operations = [
        # The key that it refers to was made by this room's first migration.
        base_model.same_portfolio("accounts_grantrecord", "grant_id", "accounts_grant"),
        migrations.RunSQL(
            "UPDATE accounts_grant SET is_from_job = true WHERE until IS NOT NULL AND id IN "
            "(SELECT grant_id FROM jobs_access WHERE before IS NULL)",
            migrations.RunSQL.noop,
        ),
    ]
