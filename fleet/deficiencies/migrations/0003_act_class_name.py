"""The class of acts gets a name of its own; the table keeps its name, and nothing in the database changes."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ("deficiencies", "0002_acts"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.AlterModelTable(name="act", table="deficiencies_act"),
                migrations.RenameModel(old_name="Act", new_name="DeficiencyAct"),
            ],
        ),
    ]
