"""Plans that were recorded before people of other portfolios were asked go on holding whoever they name."""

from django.db import migrations, models

# The column is filled by a change of its type, which is no UPDATE: the facts' own trigger stays on.
ASKED_SINCE_THEN = """
DO $$ BEGIN EXECUTE format(
    'ALTER TABLE jobs_act ALTER COLUMN asks_people TYPE boolean USING (at >= %L)',
    (SELECT applied FROM django_migrations WHERE app = 'jobs' AND name = '0003_grants_from_jobs')
); END $$
"""


class Migration(migrations.Migration):
    """A second person named by a plan from before keeps the access that came with it. Later plans ask."""

    dependencies = [
        ("jobs", "0003_grants_from_jobs"),
    ]

    operations = [
        migrations.AddField(
            model_name="jobact",
            name="asks_people",
            field=models.BooleanField(default=False),
        ),
        migrations.RunSQL(ASKED_SINCE_THEN, migrations.RunSQL.noop),
    ]
