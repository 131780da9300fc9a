"""The class of acts gets a name of its own; the table keeps its name, and nothing in the database changes."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ("alerts", "0004_once_a_boiler"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.AlterModelTable(name="act", table="alerts_act"),
                migrations.RenameModel(old_name="Act", new_name="AlertAct"),
            ],
        ),
    ]
