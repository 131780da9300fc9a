"""The alert of a visit's answer has another name; a stored alert keeps its row, its times and what people did about it."""

from django.db import migrations

RENAME = "UPDATE alerts_alert SET condition = '{new}' WHERE condition = '{old}'"


class Migration(migrations.Migration):

    dependencies = [
        ("alerts", "0005_act_class_name"),
    ]

    operations = [
        migrations.RunSQL(
            RENAME.format(old="not_ready", new="against_firing"), RENAME.format(old="against_firing", new="not_ready")
        ),
    ]
