"""The policy of running on the second protection is gone: the column keeps what was adopted, and nothing reads it."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ("terms", "0003_relief_and_gauge"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            # Evidence is never taken away: rows of before keep the name, those to come leave it empty.
            database_operations=[
                migrations.RunSQL(
                    "ALTER TABLE terms_adoption ALTER COLUMN run_on_by SET DEFAULT ''",
                    "ALTER TABLE terms_adoption ALTER COLUMN run_on_by DROP DEFAULT",
                )
            ],
            state_operations=[migrations.RemoveField(model_name="adoption", name="run_on_by")],
        ),
    ]
