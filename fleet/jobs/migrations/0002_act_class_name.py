"""The class of acts gets a name of its own; the table keeps its name, and nothing in the database changes."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ("jobs", "0001_initial"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.AlterModelTable(name="act", table="jobs_act"),
                migrations.RenameModel(old_name="Act", new_name="JobAct"),
            ],
        ),
    ]
